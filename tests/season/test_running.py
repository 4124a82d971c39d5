"""A season's work: nothing twice, nothing lost, a bad clip costs its own row."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from matchvision.errors import OutputError, SetupError
from matchvision.records.sheet import Run
from matchvision.season.running import at_work
from tests.season import made
from tests.season.made import hold, lay_out, tables_of


def test_a_bad_clip_costs_its_own_row_only(tmp_path: Path) -> None:
    held = hold(lay_out(tmp_path / "s", 4, bad=[1]), tmp_path / "out")
    assert held.book is not None
    assert [line.status for line in held.book.lines] == ["done", "failed", "done", "done"]
    assert held.book.doubts[0].id == "r1"
    assert "copy it from the phone again" in held.book.doubts[0].why[0]


def test_what_is_finished_is_not_done_again(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 3, bad=[2])
    did: list[str] = []
    hold(folder, tmp_path / "out", did)
    rest = [f"{step} {name}" for step in ("causes", "remedies") for name in ("r0", "r1")]
    assert did == ["answer r0", "answer r1", "answer r2", *rest]
    again: list[str] = []
    held = hold(folder, tmp_path / "out", again)
    assert again == []
    assert held.book is None


def test_only_what_changed_is_done_again(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 3), tmp_path / "out"
    hold(folder, out)
    (folder / "r1" / "clip.mp4").write_bytes(b"another clip")
    sheet = folder / "r2" / "run.toml"
    sheet.write_text(sheet.read_text().replace("duration_s = 10", "duration_s = 9"))
    did: list[str] = []
    hold(folder, out, did)
    assert did == [f"{step} {name}" for step in ("answer", "causes", "remedies") for name in ("r1", "r2")]


def test_moved_clips_and_folders_change_nothing(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 2), tmp_path / "out"
    hold(folder, out)
    before = {name: text for name, text in tables_of(out).items() if name.endswith(".csv")}
    folder.rename(tmp_path / "moved")
    for clip in (tmp_path / "moved").glob("*/clip.mp4"):
        os.utime(clip, (1, 1))
    did: list[str] = []
    hold(tmp_path / "moved", out, did)
    assert did == []
    assert {name: text for name, text in tables_of(out).items() if name.endswith(".csv")} == before


def test_a_missing_clip_is_told_and_found_later(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 2), tmp_path / "out"
    clip = folder / "r0" / "clip.mp4"
    content = clip.read_bytes()
    clip.unlink()
    held = hold(folder, out)
    assert held.book is not None
    assert "cannot be read" in held.book.lines[0].message
    clip.write_bytes(content)
    held = hold(folder, out)
    assert held.book is not None
    assert [line.status for line in held.book.lines] == ["done", "done"]


def test_spoiled_results_and_index_are_made_anew(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 2), tmp_path / "out"
    hold(folder, out)
    before = tables_of(out)
    next((out / "runs").glob("*/result.json")).write_text("{")
    (out / "season.sqlite").write_bytes(b"no index at all" * 100)
    (out / "results.csv").unlink()
    did: list[str] = []
    hold(folder, out, did)
    assert len(did) == 3
    assert tables_of(out) == before


def test_what_is_no_fault_of_the_run_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def lack(run: Run, folder: Path) -> None:
        raise SetupError("this computer lacks a library")

    monkeypatch.setattr(made, "_pretend_answer", lack)
    folder, out = lay_out(tmp_path / "s", 1), tmp_path / "out"
    held = hold(folder, out)
    assert held.book is not None
    assert held.book.lines[0].message == "this computer lacks a library"
    monkeypatch.undo()
    held = hold(folder, out)
    assert held.book is not None
    assert held.book.lines[0].status == "done"


def test_causes_that_fail_leave_the_verdict_and_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(run: Run, folder: Path) -> None:
        raise OutputError("the disk is full")

    monkeypatch.setattr(made, "_pretend_causes", fail)
    folder, out = lay_out(tmp_path / "s", 1), tmp_path / "out"
    held = hold(folder, out)
    assert held.book is not None
    assert (held.book.lines[0].status, held.book.lines[0].winner != "") == ("answered", True)
    assert "the disk is full" in held.book.doubts[0].why[0]
    monkeypatch.undo()
    held = hold(folder, out)
    assert held.book is not None
    assert held.book.lines[0].status == "done"


def test_two_seasons_do_not_work_in_one_folder(tmp_path: Path) -> None:
    with at_work(tmp_path), pytest.raises(OutputError, match="another season is at work"), at_work(tmp_path):
        pass


@pytest.mark.slow
def test_killed_at_any_moment_the_tables_are_the_same(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 9, bad=[5])
    calm, shot = tmp_path / "calm", tmp_path / "shot"
    command = [sys.executable, "-m", "tests.season.made", str(folder)]
    root = Path(__file__).parents[2]
    subprocess.run([*command, str(calm)], cwd=root, check=True, capture_output=True, timeout=60)
    chance = random.Random(4)
    killed = 0
    process = subprocess.Popen([*command, str(shot)], cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    # At some moment after the first answer, however fast the machine is.
    while process.poll() is None and not list((shot / "runs").glob("*/result.json")):
        time.sleep(0.01)
    time.sleep(chance.uniform(0.0, 0.4))
    if process.poll() is None:
        process.send_signal(signal.SIGKILL)
        killed += 1
    process.communicate()
    time.sleep(0.5)
    subprocess.run([*command, str(shot)], cwd=root, check=True, capture_output=True, timeout=60)
    assert killed
    assert tables_of(shot) == tables_of(calm)
    assert not [p for p in (shot / "runs").iterdir() if p.name.startswith(".")]
