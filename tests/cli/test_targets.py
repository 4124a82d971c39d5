"""The command that prints: what it says, what it refuses, and its exit codes."""

from pathlib import Path

import pytest

from matchvision.cli.targets import KINDS
from matchvision.report import targets
from tests.cli.conftest import SHEET, Type

ROPE = """\
[rope]
length_m = 1
ends = ["heron", "plover"]
first_bead_m = 0.1
bead_spacing_m = 0.1
bead_colours = ["red", "cyan"]
[colour.red]
srgb = "#d7231e"
[colour.cyan]
srgb = "#0ab4cd"
[machine.heron]
home = "-x"
[machine.plover]
home = "+x"
"""


def test_it_knows_every_kind_in_its_order() -> None:
    assert tuple(KINDS) == targets.KINDS


def test_a_set_to_begin_with(type_in: Type, in_folder: Path) -> None:
    result = type_in("targets", "--only", "tags, board", "--tags", "2", "--side-mm", "90")
    assert result.exit_code == 0
    assert "Wrote targets.pdf, 3 pages" in result.output
    assert "2 pages with a tag each" in result.output
    assert "1 chessboard" in result.output
    assert "it must be 100 mm long" in result.output
    assert [path.name for path in in_folder.iterdir()] == ["targets.pdf"]


def test_a_run_s_own_marks_before_there_is_a_clip(type_in: Type, practice: Path, in_folder: Path) -> None:
    (practice / "run.toml").write_text(SHEET + ROPE, encoding="utf-8")
    result = type_in("targets", "practice", "--out", "prints/all.pdf", "--paper", "letter")
    assert result.exit_code == 0
    assert (in_folder / "prints" / "all.pdf").read_bytes().startswith(b"%PDF")
    assert "1 page of bead wraps" in result.output
    assert "The sheet lists no tags" in result.output


def test_asking_for_what_the_sheet_lacks(type_in: Type, practice: Path, in_folder: Path) -> None:
    some = type_in("targets", "practice", "--only", "card,rims")
    assert some.exit_code == 1
    assert "no wheel rim marks" in some.output
    (in_folder / "targets.pdf").unlink()
    nothing = type_in("targets", "practice", "--only", "rims")
    assert nothing.exit_code == 2
    assert "What to do: add it to the sheet" in nothing.output
    assert not (in_folder / "targets.pdf").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--only", "tags,hats"), '"hats" is nothing that can be printed; choose from card, tags'),
        (("--only", ","), "nothing is named"),
        (("practice", "--disc-mm", "30"), "leave away --disc-mm"),
        (("--side-mm", "170"), "What to do: choose a smaller one, or larger paper: --paper a3"),
        (("--side-mm", "0"), "--side-mm"),
        (("--first-id", "587"), "it ends at 586"),
        (("nowhere",), "there is no such file or folder"),
    ],
)
def test_wrong_wishes_are_told_plainly(
    type_in: Type, practice: Path, in_folder: Path, words: tuple[str, ...], told: str
) -> None:
    assert practice.is_dir()
    result = type_in("targets", *words)
    assert result.exit_code == 2
    assert told in " ".join(result.output.split())
    assert not (in_folder / "targets.pdf").exists()


def test_quiet_says_nothing(type_in: Type) -> None:
    assert type_in("--quiet", "targets", "--only", "card").output == ""
