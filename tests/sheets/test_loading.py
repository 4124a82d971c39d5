"""Run sheets: what is loaded, and that every kind of fault is named with its place."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import Fault, SheetError
from matchvision.records.sheet import Quantity
from matchvision.sheets import load_run

FaultsWith = Callable[..., list[Fault]]
SAMPLES = Path(__file__).parents[2] / "sample_clips"


def test_sound_sheet_loads(run_folder: Path) -> None:
    run = load_run(run_folder)
    assert run.clip == run_folder / "clip.mp4"  # need not exist to be named
    assert run.hang_test is not None
    np.testing.assert_allclose(run.hang_test.length_m, [0.060, 0.080, 0.100])
    assert run.sheet.forecast["heron"].gear_ratio == Quantity(value=236.0, u=0.0)
    assert set(run.sheet_texts) == {"run.toml"}
    assert load_run(run_folder / "run.toml").sheet == run.sheet


@pytest.mark.parametrize("name", ["flat-match", "sled-link", "hand-held", "hitch-slips"])
def test_sample_sheets_load(name: str) -> None:
    run = load_run(SAMPLES / name)
    assert run.sheet.run.name == name
    assert run.clip.is_file()
    assert (run.hang_test is not None) == (name == "sled-link")


def test_three_faults_are_listed_at_once(faults_with: FaultsWith) -> None:
    faults = faults_with(
        ("width_m = 1.1", "widht_m = 1.1"),
        ('"heron", "plover"', '"heron", "plovr"'),
        ("mass_kg = 2.5", 'mass_kg = "2,5"'),
    )
    assert [str(fault) for fault in faults] == [
        'run.toml, line 11, table.widht_m: there is no such key; did you mean "width_m"?',
        'run.toml, line 31, rope.ends[no. 2]: "plovr" names no machine; did you mean "plover"?',
        'run.toml, line 45, machine.heron.mass_kg: found the text "2,5"; '
        "a number is wanted, without quotes, with a decimal point",
    ]


# What is changed in the sound sheet, where the fault must be found, a word of what is found and one of what is wanted.
FORM = [
    ("width_m = 1.1", "", "table.width_m", "missing", "must be given — width across the pull"),
    ("width_m = 1.1", "width_m = 0", "table.width_m", "found 0", "more than 0"),
    ("width_m = 1.1", "width_m = nan", "table.width_m", "found nan", "finite"),
    ("width_m = 1.1", "width_m = true", "table.width_m", "found true", "a number"),
    ("width_m = 1.1", 'width_m = 1.1\ncolour = "red"', "table.colour", "no such key", "keys allowed here: length_m"),
    ('"practice"', "3", "run.name", "found 3", '"quotes"'),
    ('"practice"', '""', "run.name", "found", "not empty"),
    ('clip = "clip.mp4"', 'clip = "clip.mp4"\nkind = "macth"', "run.kind", "macth", 'did you mean "match"?'),
    ("start_s = 1.0", "", "clock", "found a block", "start_s"),
    ("start_s = 1.0", 'start_s = 1.0\nstart = "first-motion"', "clock", "found a block", "either start_s"),
    ("centre_m = [-1.0, 0.45]", "centre_m = [-1.0]", "table.tag[no. 1].centre_m[no. 2]", "missing", "one more"),
    ("centre_m = [-1.0, 0.45]", "centre_m = -1.0", "table.tag[no. 1].centre_m", "found -1.0", "array"),
    ('"#d7231e"', '"red"', "colour.red.srgb", "red", "#rrggbb"),
    ("at_m = 0.1,", 'at_m = "0.1",', "rope.beads[bead_01].at_m", "text", "a number"),
    ('"heron", "plover"', '"heron"', "rope.ends[no. 2]", "missing", "one more"),
    ('"bead_01"', '"bead 01"', "rope.beads[bead 01].name", "bead 01", "without spaces"),
    ("gear_ratio = 236", 'gear_ratio = "236"', "forecast.heron.gear_ratio", "text", "{ value"),
    ("gear_ratio = 236", "gear_ratio = { value = 236, u = -1 }", "forecast.heron.gear_ratio.u", "-1", "at least 0"),
    ("gear_ratio = 236", "gear_ratio = { valeu = 236 }", "forecast.heron.gear_ratio.valeu", "no such", '"value"'),
    ("gear_ratio = 236", "gear_ration = 236", "forecast.heron.gear_ration", "no such key", '"gear_ratio"'),
    ("hitch = { at_m = [-0.145, 0, 0.05] }", "hitch = 0.1", "machine.heron.hitch", "found 0.1", "a block"),
    ("mass_kg = 3.1", "driven_wheels = 2.5", "machine.plover.driven_wheels", "2.5", "whole number"),
]  # fmt: skip

SENSE = [
    ('at_m = 0.1, colour = "red"', 'at_m = 0.1, colour = "rde"', "rope.beads[bead_01].colour", "rde", '"red"'),
    ('"bead_02"', '"bead_01"', "rope.beads[bead_01].name", "given twice", "own name"),
    ('name = "wheel_1"', 'name = "front"', "machine.heron.wheel[front left].rim[front].name", "heron.front", "own"),
    ('"heron", "plover"', '"heron", "heron"', "rope.ends", "both ends", "different"),
    ('home = "+x"', 'home = "-x"', "machine.plover.home", "both have", '"+x"'),
    ("[forecast.heron]", "[forecast.herno]", "forecast.herno", "names no machine", '"heron"'),
    ("id = 1", "id = 0", "table.tag[no. 2].id", "listed twice", "own number"),
    ("[1.0, 0.45]", "[1.07, 0.45]", "table.tag[no. 2].centre_m", "beyond the table", "from -1.1 to 1.1 m"),
    ("at_m = [-0.7, 0.0]", "at_m = [-0.7, 0.9]", "machine.heron.start.at_m", "beyond the table", "-0.55 to 0.55"),
    ("at_m = 0.2", "at_m = 1.2", "rope.beads[bead_02].at_m", "beyond the rope's end", "1 m long"),
    ("at_m = 0.2", "at_m = 0.11", "rope.beads[bead_02].at_m", "nearer than", "0.018 m wide"),
    ("from_m = 0.4", "from_m = 1.4", "rope.link.from_m", "beyond the rope's end", "1 m long"),
    ("circle_m = 0.03", "circle_m = 0.05", "machine.heron.wheel[front left].rim[wheel_1].circle_m", "outside", "0.045"),
    ("0, 0.05] }", '0, 0.05], on = "reach" }', "machine.heron.hitch.on", "arm", "machine.heron.reach"),
    ("[[0, 0], [0.5, 1]]", "[[0.5, 0], [0, 1]]", "forecast.heron.throttle[no. 2]", "does not come after", "increase"),
    ("[[0, 0], [0.5, 1]]", "[[0, 0], [0.5, 80]]", "forecast.heron.throttle[no. 2][no. 2]", "80", "from -1"),
    ("width_m = 1.1", "width_m = 1.1\nprofile_m = [[0, 0], [-1, 0]]", "table.profile_m[no. 2]", "after", "-x to +x"),
    ("width_m = 1.1", "width_m = 1.1\nprofile_m = [[0, 0]]", "table.profile_m", "one point", "two points"),
    ('"#0ab4cd"', '"#D7231e"', "colour.cyan.srgb", 'same as "red"', "told apart"),
    ("[forecast.heron]", '[rules]\nmark = "bead_1"\n[forecast.heron]', "rules.mark", "no marker", "bead_0"),
    ("[forecast.heron]", '[rules]\ndecide = "mark-past-line"\nmark = "bead_01"\n[forecast.heron]', "rules.line_m",
     "missing", "needs mark and line_m"),
    ("length_m = 1.0", "length_m = 1.0\nfirst_bead_m = 0.3", "rope.first_bead_m", "listed", "either"),
    ('"hang.csv"', '"hung.csv"', "rope.link.hang_test", "no file hung.csv", "folder of the sheet"),
    ("mass_kg = 3.1", 'commands = "log.csv"', "machine.plover.commands", "no file log.csv", "folder of the sheet"),
    ("gear_ratio = 236", 'curve = "curve.csv"', "forecast.heron.curve", "no file curve.csv", "folder of the sheet"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "found", "wanted"), [*FORM, *SENSE])
def test_fault_is_named_with_place_and_remedy(
    faults_with: FaultsWith, old: str, new: str, key: str, found: str, wanted: str
) -> None:
    (fault,) = faults_with((old, new))
    assert fault.where.startswith("run.toml, line ")
    assert fault.where.endswith(f", {key}")
    assert found in fault.found
    assert wanted in fault.wanted


def test_form_and_sense_are_listed_together_in_order_of_lines(faults_with: FaultsWith) -> None:
    faults = faults_with(("at_m = 0.2", "at_m = 5"), ("start_s = 1.0", "start_s = -1"), ("gear_ratio", "gearratio"))
    lines = [int(fault.where.split("line ")[1].split(",")[0]) for fault in faults]
    assert len(faults) == 3
    assert lines == sorted(lines)


def test_misspelled_block_is_not_blamed_for_what_follows(faults_with: FaultsWith) -> None:
    """One machine stands in a misspelled block; the rope's end that names it must not be called wrong too."""
    heron = ("[machine.heron]", "[[machine.heron.marker]]", "[[machine.heron.wheel]]")
    faults = faults_with(*((block, block.replace("machine", "machin")) for block in heron))
    assert [(fault.where, fault.wanted) for fault in faults] == [
        ("run.toml, line 43, machin", 'did you mean "machine"?')
    ]


def test_regular_beads_are_laid_out(run_folder: Path) -> None:
    sheet = run_folder / "run.toml"
    text = sheet.read_text(encoding="utf-8")
    start, end = text.index("beads = ["), text.index("[rope.link]")
    regular = 'first_bead_m = 0.1\nbead_spacing_m = 0.3\nbead_colours = ["red", "cyan"]\n'
    sheet.write_text(text[:start] + regular + text[end:], encoding="utf-8")
    rope = load_run(run_folder).sheet.rope
    assert rope is not None
    assert [(b.name, b.at_m, b.colour) for b in rope.beads] == [
        ("bead_01", 0.1, "red"), ("bead_02", 0.4, "cyan"), ("bead_03", 0.7, "red"),
    ]  # fmt: skip


def test_missing_sheet_says_how_to_begin(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "nothing.toml"):
        with pytest.raises(SheetError, match="matchvision new"):
            load_run(path)


def test_an_empty_sheet_lacks_its_blocks(tmp_path: Path) -> None:
    (tmp_path / "run.toml").write_text("")
    with pytest.raises(SheetError) as refused:
        load_run(tmp_path)
    assert [fault.found for fault in refused.value.faults] == ["this block is missing"] * 3
    assert refused.value.faults[0].wanted.startswith("it must be given — [run]: ")


def test_a_clip_is_no_sheet(tmp_path: Path) -> None:
    clip = tmp_path / "clip.mp4"
    clip.write_bytes(b"\x00\x01")
    with pytest.raises(SheetError, match="this is a clip"):
        load_run(clip)


def test_bytes_are_no_sheet(tmp_path: Path) -> None:
    sheet = tmp_path / "run.toml"
    sheet.write_bytes(b"\xff\xfe\x00name")
    with pytest.raises(SheetError, match="not a text file"):
        load_run(sheet)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("[run]\nname = practice\n", "line 2, column 8"),
        ("[run]\nname = \u201cpractice\u201d\n", "line 2, column 8"),
        ("[clock]\nstart_s = 0,8\n", "line 2, column 12"),
        ("[run\n", "line 1, column 5"),
        ("[run]\nname = 'x'\n[run]\n", "line 3, column 5"),
        ("dear diary, today we won", "line 1, column 6"),
        ("[run", "line 1, column 5"),
    ],
)
def test_syntax_errors_point_at_line_and_column(tmp_path: Path, text: str, place: str) -> None:
    sheet = tmp_path / "run.toml"
    sheet.write_text(text, encoding="utf-8")
    with pytest.raises(SheetError) as caught:
        load_run(sheet)
    (fault,) = caught.value.faults
    assert fault.where == f"run.toml, {place}"
    assert "not valid TOML" in fault.found
