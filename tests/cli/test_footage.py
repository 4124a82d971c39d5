"""The footage command: what it answers, its exit codes, and what it leaves behind."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from matchvision.footage import read_facts, read_frames
from tests.cli.conftest import Type

SAMPLES = Path(__file__).parents[2] / "sample_clips"


def write_still(path: Path, *, soft: bool = False, hide_tag: bool = False) -> Path:
    """The first picture of a sample clip as a still, in colour."""
    frame = next(iter(read_frames(read_facts(SAMPLES / "flat-match" / "clip.mp4"))))
    rows, cols = frame.luma.shape
    planes = [frame.luma, *(cv2.resize(np.ascontiguousarray(p), (cols, rows)) for p in (frame.red, frame.blue))]
    # Limited-range BT.709 luma shown as it is serves here: the colours keep their directions.
    picture = cv2.cvtColor(np.dstack(planes), cv2.COLOR_YCrCb2BGR)
    if hide_tag:
        picture[900 * rows // 1000 :, :] = 90
        picture[750 * rows // 1000 :, : cols // 5] = 90
    if soft:
        picture = cv2.GaussianBlur(picture, (0, 0), 5.5)
    assert cv2.imwrite(str(path), picture)
    return path


def test_a_run_is_checked_with_its_sheet(type_in: Type) -> None:
    result = type_in("footage", str(SAMPLES / "flat-match"))
    assert result.exit_code == 0
    assert "60.00 pictures a second; longest step 16.7 ms" in result.output
    assert "markers found      22 of 22" in result.output
    assert "tags in view       4 of 4" in result.output
    assert "Nothing speaks against using it." in result.output
    assert Path("outputs/flat-match-footage.png").stat().st_size > 20_000


def test_colours_are_told_for_each_marker(type_in: Type, in_folder: Path) -> None:
    result = type_in("footage", str(SAMPLES / "flat-match"), "--colours", "--no-picture")
    assert result.exit_code == 0
    line = next(line for line in result.output.splitlines() if line.startswith("heron.front"))
    assert line.split()[1:6] == ["green", "8", "of", "8", "pictures"]
    assert "All colours can be told apart in this picture's light." in result.output
    # A sheet in which one marker wears nearly the colour of another.
    sheet = (SAMPLES / "flat-match" / "run.toml").read_text(encoding="utf-8")
    sheet = sheet.replace('clip = "clip.mp4"', f'clip = "{(SAMPLES / "flat-match" / "clip.mp4").as_posix()}"')
    sheet = sheet.replace('name = "rear"\ncolour = "orange"', 'name = "rear"\ncolour = "rose"')
    (in_folder / "run.toml").write_text(f'{sheet}\n[colour.rose]\nsrgb = "#d0208b"\n', encoding="utf-8")
    result = type_in("footage", str(in_folder), "--colours", "--no-picture")
    assert "can hardly be told apart" in result.output
    assert "wear #" in result.output
    result = type_in("footage", str(SAMPLES / "flat-match" / "clip.mp4"), "--colours")
    assert result.exit_code == 2
    assert "--colours needs to know which markers to look for" in result.output


def test_json_is_all_that_is_printed(type_in: Type) -> None:
    result = type_in("footage", str(SAMPLES / "sled-link"), "--json", "--picture", "here/check.svg")
    brief = json.loads(result.output)
    assert (result.exit_code, brief["exit_code"], brief["usable"]) == (0, 0, True)
    assert brief["steps"]["pictures"] == 556
    assert 0.5e-3 < brief["places"]["U95_x_m"]["least"] < brief["places"]["U95_x_m"]["most"] < 4e-3
    assert {tag["id"] for tag in brief["tags"]} == {0, 1, 2, 3}
    assert "±" in Path("here/check.svg").read_text(encoding="utf-8")


def test_a_still_says_whether_to_start(type_in: Type, in_folder: Path) -> None:
    sheet = str(SAMPLES / "flat-match")
    write_still(in_folder / "good.png")
    result = type_in("footage", "good.png", "--sheet", sheet)
    assert result.exit_code == 0, result.output
    assert "Yes, you may start." in result.output
    write_still(in_folder / "soft.png", soft=True)
    result = type_in("footage", "soft.png", "--sheet", sheet, "--no-picture")
    assert result.exit_code in (1, 2)
    assert "No" in result.output
    assert "not sharp" in result.output
    assert "tap on the middle of the table" in result.output
    write_still(in_folder / "hidden.png", hide_tag=True)
    result = type_in("footage", "hidden.png", "--sheet", sheet, "--no-picture")
    assert result.exit_code == 1
    assert "3 (36h11)" in result.output
    assert "No, not yet" in result.output


def test_a_still_without_the_table_cannot_be_used(type_in: Type, in_folder: Path) -> None:
    cv2.imwrite(str(in_folder / "wall.png"), np.full((720, 1280, 3), 150, dtype=np.uint8))
    result = type_in("footage", "wall.png", "--sheet", str(SAMPLES / "flat-match"), "--no-picture")
    assert result.exit_code == 2
    assert "the table cannot be found" in result.output
    result = type_in("footage", "wall.png", "--no-picture")
    assert "no tag is in view" in result.output


@pytest.mark.slow
def test_runs_are_listed(type_in: Type) -> None:
    result = type_in("footage", str(SAMPLES / "sled-link" / "clip.mp4"), "--runs")
    assert result.exit_code == 0
    assert "# run 1, found by motion: something moves from 1.1 s to 6.0 s" in result.output
    assert 'start = "first-motion"' in result.output


def test_what_is_no_clip_is_said_to_be_none(type_in: Type, in_folder: Path) -> None:
    sheet = str(SAMPLES / "flat-match")
    for given in (f"{sheet}/run.toml", sheet):
        result = type_in("footage", given, "--sheet", sheet)
        assert result.exit_code == 2
        assert "this is a run sheet or a folder, not a clip or still" in result.output
        assert "leave --sheet out" in result.output
    (in_folder / "notes.srt").write_text("1\n00:00:01,000 --> 00:00:02,000\nready\n", encoding="utf-8")
    result = type_in("footage", "notes.srt")
    assert result.exit_code == 2
    assert "this is a text file, not a clip" in result.output
