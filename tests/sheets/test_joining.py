"""Two teams' sheets become one match, for either draw, or it is said why not."""

from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.forecast import assume_starts, predict_run, seal_forecast
from matchvision.sheets import join_sheets, load_team

SHARED = """\
[clock]
duration_s = 3
[table]
length_m = 2.2
width_m = 1.1
[rope]
length_m = 1.09
[colour.green]
srgb = "#1eaf3c"
[colour.orange]
srgb = "#fa780a"
"""


def team(name: str, stall_Nm: float, more: str = "") -> str:
    return f"""\
[machine.{name}]
mass_kg = 3.0
hitch = {{ at_m = [-0.145, 0.0, 0.052] }}
size_m = [0.28, 0.234, 0.12]
wheelbase_m = 0.17
{more}
[[machine.{name}.marker]]
name = "front"
colour = "green"
radius_m = 0.014
at_m = [0.09, 0.0, 0.12]
[[machine.{name}.wheel]]
name = "front"
radius_m = 0.045
face_m = [0.085, 0.118, 0.045]
rim = [{{ name = "rim", colour = "orange", radius_m = 0.008, circle_m = 0.03 }}]
[forecast.{name}]
motors = 2
stall_torque_Nm = {stall_Nm}
no_load_rev_min = 12000
gear_ratio = 236
grip_static = 0.8
"""


@pytest.fixture
def sheets(tmp_path: Path) -> tuple[Path, Path, Path]:
    for name, text in (("heron", team("heron", 0.0022)), ("plover", team("plover", 0.0026)), ("table", SHARED)):
        (tmp_path / f"{name}.toml").write_text(text)
    return tmp_path / "heron.toml", tmp_path / "plover.toml", tmp_path / "table.toml"


def test_draw_turns_the_match_about(sheets: tuple[Path, Path, Path]) -> None:
    heron, plover, table = sheets
    ends = {}
    for plus in ("heron", "plover"):
        run = join_sheets((heron, plover), table, plus)
        assert run.sheet.machine[plus].home == "+x"
        assert run.sheet.rope is not None
        assert run.sheet.rope.ends[1] == plus
        forecast, _ = predict_run(run, assume_starts(run)[0], samples=16)
        assert forecast.winner == "plover"
        ends[plus] = forecast.machines["plover"].x_m[-1]
    assert ends["heron"] == pytest.approx(-ends["plover"], abs=0.01)


def test_start_turns_with_the_home(sheets: tuple[Path, Path, Path]) -> None:
    heron, plover, table = sheets
    start = 'home = "-x"\nstart = { at_m = [-0.7, 0.03], heading_deg = 178 }'
    heron.write_text(team("heron", 0.0022, start))
    kept = join_sheets((heron, plover), table).sheet.machine["heron"].start
    assert kept is not None
    assert kept.at_m == (-0.7, 0.03)
    turned = join_sheets((heron, plover), table, "heron").sheet.machine["heron"].start
    assert turned is not None
    assert turned.at_m == (0.7, -0.03)
    assert turned.heading_deg == pytest.approx(358)


def test_rules_of_the_shared_sheet_place_both_machines_for_either_draw(sheets: tuple[Path, Path, Path]) -> None:
    """Hitches 0.145 m behind the middle and 0.5 m from the centre line: both middles stand 0.645 m out."""
    heron, plover, table = sheets
    table.write_text(SHARED + "[rules]\nhitch_from_centre_m = 0.5\n")
    for plus, side in (("heron", 1.0), ("plover", -1.0)):
        starts, assumed = assume_starts(join_sheets((heron, plover), table, plus))
        assert starts["heron"].at_m == pytest.approx((side * 0.645, 0.0))
        assert starts["plover"].at_m == pytest.approx((-side * 0.645, 0.0))
        assert starts["heron"].heading_deg == (0.0 if side > 0 else 180.0)
        assert all("hitch_from_centre_m" in sentence for sentence in assumed)


def test_a_team_need_not_say_how_shared_colours_look(sheets: tuple[Path, Path, Path]) -> None:
    heron, _, table = sheets
    alone, beside = load_team(heron), load_team(heron, table)
    assert seal_forecast(alone) == seal_forecast(beside)
    assert beside.sheet.colour["green"].srgb == "#1eaf3c"
    heron.write_text(team("heron", 0.0022) + '[colour.green]\nsrgb = "#000000"\n')
    assert load_team(heron).sheet.colour["green"].srgb == "#000000"
    assert load_team(heron).sheet.colour["orange"].srgb != "#000000"
    table.write_text(SHARED.replace("orange", "blue"))
    with pytest.raises(SheetError, match='the colour "orange" is not defined'):
        load_team(heron, table)


def test_sheets_may_stand_without_a_shared_one(sheets: tuple[Path, Path, Path]) -> None:
    heron, plover, _ = sheets
    heron.write_text(SHARED + team("heron", 0.0022))
    assert join_sheets((heron, plover), None).sheet.run.name == "heron-plover"
    assert set(load_team(plover).sheet.forecast) == {"plover"}


@pytest.mark.parametrize(
    ("heron_text", "plover_text", "plus", "said"),
    [
        (team("heron", 1), team("heron", 1), None, "both hold it"),
        (team("heron", 1, 'home = "-x"'), team("plover", 1, 'home = "-x"'), None, "both have their home on -x"),
        (team("heron", 1) + "[rope]\nlength_m = 1.2\n", team("plover", 1), None, "rope.length_m"),
        (team("heron", 1), team("plover", 1), "wren", "wren is none of the machines"),
        (team("heron", 1) + '[machine.wren]\nhome = "+x"\n', team("plover", 1), None, "2 machines (heron, wren)"),
        (team("heron", 1).replace("motors", "moters"), team("plover", 1), None, "moters"),
    ],
)
def test_conflicts_are_named(
    sheets: tuple[Path, Path, Path], heron_text: str, plover_text: str, plus: str | None, said: str
) -> None:
    heron, plover, table = sheets
    heron.write_text(heron_text)
    plover.write_text(plover_text)
    with pytest.raises(SheetError) as caught:
        join_sheets((heron, plover), table, plus)
    assert said in caught.value.message()


def test_one_sheet_is_no_match(sheets: tuple[Path, Path, Path]) -> None:
    with pytest.raises(SheetError, match="two teams"):
        join_sheets(sheets[:1], sheets[2])
    with pytest.raises(SheetError, match="no sheet holds it"):
        join_sheets(sheets[:2], None)
