"""The file of mends: its example, its faults, and that it is written as it is read."""

import json
from importlib.resources import files
from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.records.mends import Mends
from matchvision.records.sheet import RunSheet
from matchvision.sheets import load_run
from matchvision.sheets.mends import describe_mends, list_markers, read_mends, write_mends

EXAMPLE = files("matchvision.sheets").joinpath("templates/mends.toml").read_text(encoding="utf-8")
SHEET = """
[run]
name = "mended"
clip = "clip.mp4"
[clock]
start_s = 0.0
duration_s = 5.0
[table]
length_m = 2.0
width_m = 1.0
[colour.red]
srgb = "#d02020"
[rope]
length_m = 0.9
ends = ["heron", "plover"]
first_bead_m = 0.1
bead_spacing_m = 0.1
bead_colours = ["red"]
[machine.heron]
home = "-x"
[[machine.heron.marker]]
name = "front"
colour = "red"
radius_m = 0.01
at_m = [0.1, 0.0, 0.1]
[machine.plover]
home = "+x"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "run.toml").write_text(SHEET)
    return tmp_path


@pytest.fixture
def sheet(folder: Path) -> RunSheet:
    return load_run(folder).sheet


def test_example_is_read(folder: Path) -> None:
    (folder / "mends.toml").write_text(EXAMPLE)
    run = load_run(folder)
    assert [mend.do for mend in run.mends.mend] == ["strike", "cut", "tie", "tie", "set", "end"]
    assert run.mends.sets_points
    assert run.sheet_texts["mends.toml"] == EXAMPLE


def test_no_file_is_no_mend(folder: Path) -> None:
    assert load_run(folder).mends == Mends()


def test_what_is_written_is_read_back(folder: Path, sheet: RunSheet) -> None:
    (folder / "example.toml").write_text(EXAMPLE)
    mends, _ = read_mends(folder / "example.toml", sheet)
    write_mends(folder / "mends.toml", mends)
    assert read_mends(folder / "mends.toml", sheet)[0] == mends
    write_mends(folder / "mends.toml", Mends())
    assert not (folder / "mends.toml").exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[mend]]\ndo = "cut"\nmarker = "bead_99"\nframe = 1\n', 'mend 1: "bead_99" names no marker'),
        ('[[mend]]\ndo = "cutt"\nmarker = "bead_01"\nframe = 1\n', 'did you mean "cut"?'),
        ('[[mend]]\ndo = "cut"\nmarker = "bead_01"\n', "frame: this key is missing"),
        ('[[mend]]\ndo = "cut"\nmarker = "bead_01"\nframe = 1\nuntil = 4\n', "there is no such key"),
        ('[[mend]]\ndo = "set"\nmarker = "bead_01"\nframe = "1"\npixel = [1, 2]\n', 'found the text "1"'),
        ('[[mend]]\ndo = "end"\nend = "heroon"\nframe = 1\npixel = [1, 2]\n', 'did you mean "heron"?'),
        ('[[mend]]\ndo = "strike"\nmarker = "bead_01"\nframe = 9\nuntil_frame = 4\n', "from frame 9 to frame 4"),
        ('[[mend]]\ndo = "tie"\nmarker = "bead_01"\nfollowed_as = "bead"\nframe = 9\n', '"bead" names no marker'),
        ("[[mend]\n", "it cannot be read"),
    ],
)
def test_faults_are_named_with_what_would_be_right(folder: Path, text: str, said: str) -> None:
    (folder / "mends.toml").write_text(text)
    with pytest.raises(SheetError, match=r"mends\.toml") as caught:
        load_run(folder)
    assert said in str(caught.value)


def test_markers_are_named_as_in_the_tables(sheet: RunSheet) -> None:
    assert list_markers(sheet)[:2] == ("bead_01", "bead_02")
    assert list_markers(sheet)[-1] == "heron.front"


def test_schema_describes_every_verb() -> None:
    text = json.dumps(describe_mends())
    for verb in ("cut", "strike", "tie", "set", "end"):
        assert f'"const": "{verb}"' in text
