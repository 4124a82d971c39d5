"""Results of runs as they were go only when asked for, and nothing else does."""

from pathlib import Path

from matchvision.cli.season import tell_tidied
from matchvision.season.holding import Held, Wishes, hold_season
from matchvision.season.manifest import read_season
from tests.season.made import crew_here, hold, lay_out, tables_of


def tidied(folder: Path, out: Path) -> Held:
    return hold_season(read_season(folder), out, crew_here(None), Wishes(tidy=True))


def test_only_results_of_runs_as_they_were_go(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 2, bad=[1]), tmp_path / "out"
    hold(folder, out)
    before = {entry.name for entry in (out / "runs").iterdir()}
    for name in ("r0", "r1"):
        (folder / name / "clip.mp4").write_bytes(b"another clip")
    hold(folder, out)
    now = {entry.name for entry in (out / "runs").iterdir()} - before
    assert len(now) > 0
    (out / "runs" / "notes.txt").write_text("somebody's own", encoding="utf-8")
    tables = tables_of(out)

    held = tidied(folder, out)
    assert held.gone == 2  # the former result of one, the noted failure of the other
    assert {entry.name for entry in (out / "runs").iterdir()} == {*now, "notes.txt"}
    assert tables_of(out) == tables
    assert tidied(folder, out).gone == 0


def test_nothing_goes_while_a_run_cannot_be_read(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 2), tmp_path / "out"
    hold(folder, out)
    before = {entry.name for entry in (out / "runs").iterdir()}
    (folder / "r1" / "clip.mp4").rename(folder / "clip-on-another-disk.mp4")
    assert tidied(folder, out).gone is None
    assert {entry.name for entry in (out / "runs").iterdir()} == before
    assert "Nothing was taken away" in tell_tidied(None)
