"""Workers on this machine."""

from collections.abc import Sequence
from pathlib import Path

from matchvision.season.holding import hold_season
from matchvision.season.index import open_index
from matchvision.season.manifest import read_season
from matchvision.season.running import look_up
from matchvision.season.tasks import Done, Finished, Task, failure_file
from matchvision.season.workers import work_locally
from matchvision.sheets import load_run
from tests.season.made import lay_out, pretend


def test_a_death_costs_its_own_task_only(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 4), tmp_path / "out"
    (folder / "r1" / "clip.mp4").write_bytes(b"deadly")
    (out / "runs").mkdir(parents=True)
    with open_index(out) as index:
        played = look_up(read_season(folder), out, index, {})
    tasks = [Task(one.entry.id, "answer", one.run, one.folder) for one in played if one.run and one.folder]
    said: dict[str, str] = {}

    def note(finished: Finished) -> tuple[Task, ...]:
        said[finished.task.entry] = finished.said
        return ()

    work_locally(tasks, 2, note, perform=pretend)
    assert {name for name, words in said.items() if not words} == {"r0", "r2", "r3"}
    assert "ended with code 9, 2 times" in said["r1"]
    assert sum((task.folder / "result.json").is_file() for task in tasks) == 3


def test_what_becomes_due_is_done_in_its_turn(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 3), tmp_path / "out"
    did: list[str] = []

    def crew(tasks: Sequence[Task], done: Done) -> None:
        def note(finished: Finished) -> Sequence[Task]:
            did.append(finished.task.step)
            assert finished.took_s > 0
            return done(finished)

        work_locally(tasks, 1, note, perform=pretend)

    hold_season(read_season(folder), out, crew)
    assert did == ["answer"] * 3 + ["causes"] * 3 + ["remedies"] * 3


def test_results_do_not_stand_under_the_key_of_another_program(tmp_path: Path) -> None:
    run = load_run(lay_out(tmp_path / "s", 1) / "r0")
    said = pretend(Task("r0", "answer", run, tmp_path / "out", program="f" * 64))
    assert "start the season again" in said
    assert not (tmp_path / "out").exists()
    assert not failure_file(tmp_path / "out").exists()


def test_work_that_is_done_already_is_no_fault_when_asked_again(tmp_path: Path) -> None:
    """A worker may die when its results stand on disk and nobody has been told of them."""
    folder, out = lay_out(tmp_path / "s", 2), tmp_path / "out"

    def crew(tasks: Sequence[Task], done: Done) -> None:
        def twice(finished: Finished) -> Sequence[Task]:
            return done(Finished(finished.task, pretend(finished.task), 0.1))

        work_locally(tasks, 1, twice, perform=pretend)

    held = hold_season(read_season(folder), out, crew)
    assert held.book is not None
    assert [(line.status, line.message) for line in held.book.lines] == [("done", "")] * 2
