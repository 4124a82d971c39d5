"""What a practice run measured, as a piece of a run sheet and in ``result.json``."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from matchvision.records.practice import PracticeParameter, PracticeResult
from matchvision.records.pull import BudgetLine
from matchvision.records.results import Analysis
from matchvision.sheets import load_run
from matchvision.writing import open_result, write_results
from matchvision.writing.measured import format_measured

SHEET = """include = ["measured.toml"]
[run]
name = "next"
clip = "clip.mp4"
[clock]
start_s = 0.5
duration_s = 3.0
[table]
length_m = 2.0
width_m = 1.0
[machine.heron]
home = "-x"
[machine.heron.drive]
gear_ratio = 250
[machine.sled]
home = "+x"
[machine.sled.load]
"""


@pytest.fixture
def practice() -> PracticeResult:
    line = BudgetLine("mass of sled", 0.0012, "1", common=True, value=3.2, u_value=0.01, value_unit="kg")

    def number(key: str, value: float, u: float, *, by_hand: bool = False) -> PracticeParameter:
        return PracticeParameter(
            tuple(key.split(".")), key, value, "1", u, 2.2 * u, "How it was had.", 0.5, 2.5, (line,), 11.0,
            takes_u=not by_hand, stated=not by_hand,
        )  # fmt: skip

    numbers = (
        number("machine.sled.load.grip_sliding", 0.27154, 0.00412),
        number("machine.heron.drive.drive_efficiency", 0.7132, 0.0216),
        number("machine.heron.wheel.radius_m", 0.044853, 0.00006, by_hand=True),
    )
    return PracticeResult("sled", numbers, ("No link.",), ("Uneven.",))


def test_what_is_written_can_be_included(analysis: Analysis, practice: PracticeResult, tmp_path: Path) -> None:
    text = format_measured(analysis, practice)
    (tmp_path / "measured.toml").write_text(text, encoding="utf-8")
    (tmp_path / "run.toml").write_text(SHEET, encoding="utf-8")
    sheet = load_run(tmp_path).sheet
    heron, sled = sheet.machine["heron"], sheet.machine["sled"]
    assert sled.load is not None
    assert sled.load.grip_sliding is not None
    assert (sled.load.grip_sliding.value, sled.load.grip_sliding.u) == (0.2715, 0.0046)  # 2.2 u over 1.96
    assert heron.drive is not None
    assert heron.drive.drive_efficiency is not None
    assert heron.drive.drive_efficiency.u == pytest.approx(0.024)
    assert heron.drive.gear_ratio is not None
    assert "# [[machine.heron.wheel]] radius_m = 0.044853" in text
    assert all(len(line) <= 120 for line in text.splitlines())


def test_numbers_stand_in_the_result_file(analysis: Analysis, practice: PracticeResult, tmp_path: Path) -> None:
    write_results(replace(analysis, practice=practice), tmp_path / "out")
    told = open_result(tmp_path / "out").brief.practice
    assert told is not None
    assert told.kind == "sled"
    assert told.numbers[0].key == "machine.sled.load.grip_sliding"
    assert told.numbers[0].budget[0].u_value == 0.01
    assert told.missing == ("No link.",)
    write_results(analysis, tmp_path / "match")
    assert json.loads((tmp_path / "match" / "result.json").read_text())["practice"] is None
