"""Workers on this machine."""

from pathlib import Path

from matchvision.season.index import open_index
from matchvision.season.manifest import read_season
from matchvision.season.running import look_up
from matchvision.season.tasks import Task
from matchvision.season.workers import work_locally
from tests.season.made import lay_out, pretend


def test_a_death_costs_its_own_task_only(tmp_path: Path) -> None:
    folder, out = lay_out(tmp_path / "s", 4), tmp_path / "out"
    (folder / "r1" / "clip.mp4").write_bytes(b"deadly")
    (out / "runs").mkdir(parents=True)
    with open_index(out) as index:
        played = look_up(read_season(folder), out, index, {})
    tasks = [Task(one.entry.id, "answer", one.run, one.folder) for one in played if one.run and one.folder]
    said: dict[str, str] = {}
    work_locally(tasks, 2, lambda task, words: said.update({task.entry: words}), perform=pretend)
    assert {name for name, words in said.items() if not words} == {"r0", "r2", "r3"}
    assert "ended with code 9, 2 times" in said["r1"]
    assert sum((task.folder / "result.json").is_file() for task in tasks) == 3
