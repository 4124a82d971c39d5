"""Rubrics: read with their defaults, and refused where they are wrong."""

from pathlib import Path

import pytest

from matchvision.errors import OutputError, SheetError
from matchvision.records.rubric import Rubric
from matchvision.sheets.rubric import describe_rubric, read_rubric, write_new_rubric


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "rubric.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_what_is_left_out_keeps_its_default(tmp_path: Path) -> None:
    rubric = read_rubric(write(tmp_path, "[weights]\nverdict = 0\n[tolerance.peak_pull]\nnone_ratio = 0.3\n"))
    assert rubric.weights.verdict == 0
    assert rubric.weights.accuracy == 25
    assert rubric.tolerance.peak_pull.full_ratio == 0.1
    assert rubric.tolerance.accuracy.none_ratio == 0.5


def test_every_fault_is_told_with_its_line(tmp_path: Path) -> None:
    text = '[weights]\nwin_chanse = 3\naccuracy = "much"\n\n[tolerance.accuracy]\nfull_ratio = 0.6\n'
    with pytest.raises(SheetError) as raised:
        read_rubric(write(tmp_path, text))
    message = raised.value.message()
    assert 'line 2, weights.win_chanse: there is no such key; did you mean "win_chance"?' in message
    assert 'line 3, weights.accuracy: found the text "much"' in message
    assert "line 5, tolerance.accuracy" in message
    assert "none_ratio has to be above full_ratio" in message


@pytest.mark.parametrize("text", ["weights = 3", "[weights", "[weights]\nverdict = -1", "[honesty]\nnone_factor = 1"])
def test_nonsense_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(SheetError):
        read_rubric(write(tmp_path, text))


def test_nothing_to_mark_is_refused(tmp_path: Path) -> None:
    parts = ("win_chance", "peak_pull", "accuracy", "honesty", "verdict", "cause")
    with pytest.raises(SheetError, match="all weights are 0"):
        read_rubric(write(tmp_path, "[weights]\n" + "".join(f"{part} = 0\n" for part in parts)))


def test_missing_file_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="cannot be read"):
        read_rubric(tmp_path / "rubric.toml")


def test_schema_names_every_weight() -> None:
    text = str(describe_rubric())
    for part in ("win_chance", "peak_pull", "accuracy", "honesty", "verdict", "cause", "none_factor"):
        assert part in text


def test_new_rubric_is_the_default_and_leaves_an_old_one_alone(tmp_path: Path) -> None:
    path = write_new_rubric(tmp_path / "rubric.toml")
    assert read_rubric(path) == Rubric()
    path.write_text("[weights]\nverdict = 1\n", encoding="utf-8")
    with pytest.raises(OutputError, match="exists already"):
        write_new_rubric(path)
    assert read_rubric(path).weights.verdict == 1
