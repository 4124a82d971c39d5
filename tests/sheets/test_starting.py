"""The sheet to start from."""

from pathlib import Path

import pytest

from matchvision.errors import OutputError
from matchvision.sheets import describe_run_sheet, load_run, write_new_sheet


def test_new_sheet_loads(tmp_path: Path) -> None:
    sheet = write_new_sheet(tmp_path / "practice")
    assert sheet == tmp_path / "practice" / "run.toml"
    run = load_run(tmp_path / "practice")
    assert len(run.sheet.table.tag) == 4
    assert run.sheet.rope is not None
    assert len(run.sheet.rope.beads) == 14


def test_everything_switched_off_in_the_new_sheet_loads_too(tmp_path: Path) -> None:
    sheet = write_new_sheet(tmp_path)
    alternatives = ("start_s", "first_bead_m", "bead_spacing_m", "bead_colours", "#include", "#lens", "#stage")
    lines = [line for line in sheet.read_text(encoding="utf-8").splitlines() if not line.startswith(alternatives)]
    switched_on = [line[1:] if line.startswith("#") and line[1:2] not in ("", " ") else line for line in lines]
    switched_on = [line[1:] if line.startswith("#  {") else line for line in switched_on]
    sheet.write_text("\n".join(switched_on), encoding="utf-8")
    (tmp_path / "hang.csv").write_text("mass_kg,length_m\n0,0.06\n1,0.08\n2,0.1\n")
    run = load_run(tmp_path)
    assert run.hang_test is not None
    assert run.sheet.forecast["heron"].gear_ratio is not None
    assert run.sheet.clock.start == "first-motion"
    assert len(run.sheet.table.point) == 1


def test_an_old_sheet_is_left_alone(tmp_path: Path) -> None:
    old = tmp_path / "run.toml"
    old.write_text("mine")
    with pytest.raises(OutputError, match="it exists already"):
        write_new_sheet(tmp_path)
    assert old.read_text() == "mine"


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    (tmp_path / "practice").write_text("no folder")
    with pytest.raises(OutputError, match="practice"):
        write_new_sheet(tmp_path / "practice")


def test_schema_names_every_block_and_allows_bare_numbers() -> None:
    schema = describe_run_sheet()
    assert set(schema["properties"]) == {
        "include", "run", "clock", "table", "camera", "colour", "rope", "machine", "practice", "rules", "forecast",
    }  # fmt: skip
    gear = schema["$defs"]["Forecast"]["properties"]["gear_ratio"]
    assert {"type": "number"} in gear["anyOf"]
    assert schema["additionalProperties"] is False
