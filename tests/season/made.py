"""Seasons made for tests: small folders of runs, and answers that are pretended instead of measured."""

import json
import shutil
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from matchvision.errors import FootageError
from matchvision.records.season import Season
from matchvision.records.sheet import Run
from matchvision.season import holding, keys, running, tasks, unchanged
from matchvision.season.holding import Held, hold_season
from matchvision.season.manifest import read_season
from matchvision.season.running import Played, look_up
from matchvision.season.tasks import Done, Finished, Task, do_task, later_folder
from matchvision.season.workers import work_locally
from matchvision.writing.resultfile import CauseBrief, NoteBrief, ResultFile
from tests.marking.made_result import HERON, make_result, row

TEAMS = ("curlew", "dunlin", "grebe", "heron", "plover", "snipe")
SHEET = """\
[run]
name = "{name}"
clip = "clip.mp4"
[clock]
start_s = 1.0
duration_s = 10
[table]
length_m = 2.2
width_m = 1.1
[rope]
length_m = 0.9
ends = ["{minus}", "{plus}"]
[machine.{minus}]
home = "-x"
mass_kg = 2.5
[machine.{plus}]
home = "+x"
mass_kg = 2.5
"""


def forget_the_program() -> None:
    """Take the program as the same always, in a process of its own: a test may run while somebody edits it."""
    for module in (keys, running):
        setattr(module, "name_analysis", lambda: "")  # noqa: B010 - the checker knows no such assignment
    for module in (holding, unchanged):
        setattr(module, "fingerprint_program", lambda: "")  # noqa: B010


def lay_out(folder: Path, count: int = 4, *, bad: Sequence[int] = (), season: str = "") -> Path:
    """A season of ``count`` runs, a folder each; those in ``bad`` have clips that cannot be read."""
    lines = ["id,round,table,minus_x,plus_x,run"]
    for number in range(count):
        minus, plus = TEAMS[number % 6], TEAMS[(number + 1 + number // 6) % 6]
        if minus == plus:
            plus = TEAMS[(number + 2) % 6]
        run = folder / f"r{number}"
        run.mkdir(parents=True)
        (run / "run.toml").write_text(SHEET.format(name=f"r{number}", minus=minus, plus=plus), encoding="utf-8")
        (run / "clip.mp4").write_bytes(b"bad" if number in bad else f"clip {number}".encode())
        lines.append(f"r{number},1,A,{minus},{plus},r{number}")
    (folder / "runs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    if season:
        (folder / "season.toml").write_text(season, encoding="utf-8")
    return folder


def invent_result(run: Run, seed: int) -> ResultFile:
    """An answer that only the run's content decides: honest forecasts, a winner, causes due."""
    draw = np.random.default_rng(seed)
    minus, plus = list(run.sheet.machine)
    rows, u = [], 0.03
    for team in (minus, plus):
        way = draw.normal(0.1, 0.1)
        rows.append(row(f"distance towards home, {team}", "m", (way + draw.normal(0, u), u), (way, 0.001)))
        rows.append(row(f"peak speed, {team}", "m/s", (draw.normal(0.2, 0.02), 0.02), (0.2, 0.001)))
    pull = draw.normal(15, 3)
    rows.append(row("peak pull", "N", (pull + draw.normal(0, 1), 1.0), (pull, 0.3)))
    chance = float(draw.uniform(0.05, 0.95))
    winner = minus if draw.random() < chance else plus
    events = [("drive-loss", minus, 4.0)] if draw.random() < 0.2 else []
    made = make_result(
        rows=rows, stated={minus: HERON, plus: HERON}, winner=winner, margin_m=float(draw.uniform(0.001, 0.2)),
        events=events, causes=(),
    )  # fmt: skip
    forecast = made.forecast
    assert forecast is not None
    return made.model_copy(
        update={
            "run": made.run.model_copy(update={"name": run.sheet.run.name}),
            "forecast": forecast.model_copy(update={"win_chance": {minus: chance, plus: 1 - chance}, "samples": 256}),
            "causes_due": True,
        }
    )


def add_invented_causes(brief: ResultFile) -> ResultFile:
    """The same with a cause."""
    cause = CauseBrief(
        cause="less-grip", machine=str(brief.verdict.winner), probability=0.8, estimate=None, u_estimate=None, unit="",
        since_s=None, statement="The grip was less than stated, 80 %.",
    )  # fmt: skip
    return brief.model_copy(update={"causes": (cause,), "causes_due": False})


def pretend(task: Task) -> str:
    """Do a task without looking at any picture; what becomes of errors and results is left to the real thing."""
    tasks._answer, tasks._add_causes, tasks._add_remedies = _pretend_answer, _pretend_causes, _pretend_remedies
    return do_task(task)


def _pretend_answer(run: Run, folder: Path) -> None:
    # As in the real thing: a worker may die when its results stand on disk and nobody has been told yet.
    if (folder / "result.json").is_file():
        return
    time.sleep(0.03)
    content = run.clip.read_bytes()
    if content == b"bad":
        raise FootageError("the clip cannot be read", where=run.clip.name, do="copy it from the phone again")
    if content == b"deadly":
        sys.exit(9)
    unfinished = folder.with_name(f".{folder.name}.unfinished")
    unfinished.mkdir(exist_ok=True)
    brief = invent_result(run, int.from_bytes(content[-4:], "big"))
    (unfinished / "result.json").write_text(brief.model_dump_json(), encoding="utf-8")
    unfinished.replace(folder)


def _pretend_causes(run: Run, folder: Path) -> None:
    del run
    time.sleep(0.03)
    path = folder / "result.json"
    brief = ResultFile.model_validate_json(path.read_text(encoding="utf-8"))
    if not brief.causes_due:
        return
    brief = add_invented_causes(brief)
    tasks.set_aside(folder, "result.json")
    tasks.write_whole(path, brief.model_dump_json())


def _pretend_remedies(run: Run, folder: Path) -> None:
    del run
    time.sleep(0.01)
    path = folder / "result.json"
    brief = ResultFile.model_validate_json(path.read_text(encoding="utf-8"))
    if tasks.next_step(folder, brief, "") == "remedies":
        note = NoteBrief(stage="remedies", status="skipped", sentence="Not sought.", warnings=(), advice=())
        tasks.write_whole(path, brief.model_copy(update={"notes": (*brief.notes, note)}).model_dump_json())
    shutil.rmtree(later_folder(folder), ignore_errors=True)


def crew_here(did: list[str] | None = None) -> Callable[[Sequence[Task], Done], None]:
    """Does tasks in this process; notes which."""

    def work(given: Sequence[Task], done: Done) -> None:
        waiting = list(given)
        while waiting:
            waiting.sort(key=lambda task: task.urgency)
            task = waiting.pop(0)
            if did is not None:
                did.append(f"{task.step} {task.entry}")
            waiting += done(Finished(task, pretend(task), 0.1))

    return work


def crew_of_processes(given: Sequence[Task], done: Done) -> None:
    """A process that pretends."""
    work_locally(given, 1, done, perform=pretend)


def hold(folder: Path, out: Path, did: list[str] | None = None) -> Held:
    """Hold a season with pretended answers in this process."""
    return hold_season(read_season(folder), out, crew_here(did))


def invented_played(folder: Path, out: Path, count: int) -> tuple[Season, tuple[Played, ...]]:
    """A season whose results are invented at once."""
    from matchvision.season.index import open_index

    season = read_season(lay_out(folder, count))
    out.mkdir(parents=True, exist_ok=True)
    with open_index(out) as index:
        listed = look_up(season, out, index, {})
    played = []
    for number, one in enumerate(listed):
        assert one.run is not None
        brief = add_invented_causes(invent_result(one.run, number))
        played.append(Played(one.entry, one.key, one.run, one.folder, brief, ""))
    return season, tuple(played)


def tables_of(out: Path) -> dict[str, bytes]:
    """Every table and page of a season's results."""
    return {
        str(p.relative_to(out)): p.read_bytes()
        for p in sorted((*out.glob("*.csv"), *out.glob("*.json"), *out.glob("*.html"), *out.glob("teams/*")))
    }


if __name__ == "__main__":
    forget_the_program()
    held = hold_season(read_season(Path(sys.argv[1])), Path(sys.argv[2]), crew_of_processes)
    sys.stdout.write(json.dumps(held.done))
