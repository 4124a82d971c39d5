"""What has changed since the last time is told without reading it all, and never missed."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from matchvision.season import unchanged
from matchvision.season.index import open_index
from matchvision.season.unchanged import find_unchanged, list_steps, name_roughly
from tests.season.made import hold, lay_out

ALL = {"steps": list_steps(causes=True, remedies=True)}


def same_size(path: Path, old: bytes, new: bytes) -> None:
    """Change a file, and set its time of change back as if nothing had been."""
    facts = path.stat()
    path.write_bytes(path.read_bytes().replace(old, new))
    os.utime(path, ns=(facts.st_atime_ns, facts.st_mtime_ns))


CHANGES: dict[str, Callable[[Path, Path], object]] = {
    "a clip": lambda s, out: same_size(s / "r0" / "clip.mp4", b"clip 0", b"clip 9"),
    "a sheet": lambda s, out: same_size(s / "r1" / "run.toml", b"2.5", b"2.6"),
    "a new sheet of a team": lambda s, out: (s / "teams" / "stork.toml").write_text(""),
    "mends": lambda s, out: (s / "r1" / "mends.toml").write_text(""),
    "the list": lambda s, out: same_size(s / "runs.csv", b"r0,1", b"r0,2"),
    "a table": lambda s, out: (out / "results.csv").unlink(),
    "the tables as JSON": lambda s, out: (out / "season.json").unlink(),
    "a page": lambda s, out: (out / "season.html").write_text("x"),
    "results": lambda s, out: next((out / "runs").glob("*/result.json")).write_text("{"),
    "a sheet elsewhere": lambda s, out: same_size(s.parent / "else" / "run.toml", b"2.5", b"2.6"),
    "what lies beside a sheet elsewhere": lambda s, out: (s.parent / "else" / "desk.toml").write_text(""),
}


@pytest.fixture
def held(tmp_path: Path) -> tuple[Path, Path]:
    """A season that was held, one of its runs elsewhere."""
    folder = lay_out(tmp_path / "s", 3, bad=[2])
    (folder / "teams").mkdir()
    (folder / "r1").rename(tmp_path / "else")
    (folder / "r1").mkdir()
    for name in ("run.toml", "clip.mp4"):
        (folder / "r1" / name).write_bytes((tmp_path / "else" / name).read_bytes())
    text = (folder / "runs.csv").read_text()
    (folder / "runs.csv").write_text(text + "e,2,A,dunlin,grebe,../else\n")
    hold(folder, tmp_path / "out")
    return folder, tmp_path / "out"


def test_whatever_changes_is_seen(held: tuple[Path, Path]) -> None:
    folder, out = held
    for what, change in CHANGES.items():
        hold(folder, out)
        last = find_unchanged(folder, out, ALL)
        assert last is not None, f"before {what}"
        assert (last.page, last.failed) == ("season.html", 1)
        change(folder, out)
        assert find_unchanged(folder, out, ALL) is None, what


def test_other_wishes_and_another_program_are_not_the_same(
    held: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = held
    assert find_unchanged(folder, out, {"steps": list_steps(causes=True, remedies=False)}) is None
    monkeypatch.setattr(unchanged, "fingerprint_program", lambda: "f" * 64)
    assert find_unchanged(folder, out, ALL) is None


def test_what_could_not_be_done_is_not_taken_for_finished(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 2), tmp_path / "out"
    (folder / "r0" / "clip.mp4").unlink()
    hold(folder, out)
    assert find_unchanged(folder, out, ALL) is None


def test_a_clip_that_was_changed_and_set_back_in_time_is_read_again(tmp_path: Path) -> None:
    clip = tmp_path / "clip.mp4"
    clip.write_bytes(b"one")
    with open_index(tmp_path) as index:
        first = index.clip_sha256(clip)
        same_size(clip, b"one", b"two")
        assert index.clip_sha256(clip) != first


def test_the_name_is_read_as_the_sheet_says(tmp_path: Path) -> None:
    assert name_roughly(tmp_path) == tmp_path.name
    (tmp_path / "season.toml").write_text('[season]\nname = "Waders"\n')
    assert name_roughly(tmp_path) == "Waders"
    (tmp_path / "season.toml").write_text("[season\n")
    assert name_roughly(tmp_path) == tmp_path.name
