"""A season's work: which runs there are, which of them are done, and doing the rest."""

import json
import shutil
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from matchvision.errors import OutputError, SheetError
from matchvision.records.season import Entry, Season
from matchvision.records.sheet import Run
from matchvision.season.assembling import assemble_entry
from matchvision.season.index import Index
from matchvision.season.keys import key_of
from matchvision.season.program import name_analysis
from matchvision.season.tasks import STEPS, Done, Finished, Step, Task, failure_file, next_step
from matchvision.writing import ResultFile, read_brief

#: The folder in a season's results that holds the runs', each under its key.
RUNS: Final = "runs"
_LOCK: Final = ".at-work"
#: The class's page and its tables.
PAGE: Final = "season.html"
TABLES: Final = (
    "results", "look-first", "predicted", "coverage", "chances", "honesty", "upsets", "reliability", "standings",
    "marks", "handed-in", "draw",
)  # fmt: skip
#: The tables as one document.
DOCUMENT: Final = "season.json"
PRODUCTS: Final = (PAGE, DOCUMENT, *(f"{name}.csv" for name in TABLES))


@dataclass(frozen=True, eq=False)
class Played:
    """One line of the list and how far it has come: its results in brief, or why there are none.

    ``files``: all that the run was read from, its clip too.
    """

    entry: Entry
    key: str
    run: Run | None
    folder: Path | None
    brief: ResultFile | None
    message: str
    files: tuple[Path, ...] = ()


#: Does tasks, the most urgent first, tells of each as it is done, and does what has thereby become due.
Crew = Callable[[Sequence[Task], Done], None]
#: Told what is being done, how much is done, how much there is in all.
Progress = Callable[[str, int, int], None]


def look_up(
    season: Season, out: Path, index: Index, forecasts: Mapping[str, Path], *, anew: bool = False
) -> tuple[Played, ...]:
    """Every line of the list with what is finished of it; nothing is analysed."""
    return tuple(_look_up_one(season, entry, out, index, forecasts, anew=anew) for entry in season.entries)


def _look_up_one(
    season: Season, entry: Entry, out: Path, index: Index, forecasts: Mapping[str, Path], *, anew: bool
) -> Played:
    if entry.run is None and entry.clip is None:
        return Played(entry, "", None, None, None, "")  # drawn, and not filmed yet
    try:
        run, files = assemble_entry(season, entry, forecasts)
    except SheetError as error:
        return Played(entry, "", None, None, None, error.message())
    try:
        key = key_of(run, index.clip_sha256(run.clip, anew=anew))
    except OSError as error:
        said = f"{run.clip.name}: the clip cannot be read ({error.strerror}); lay it where the list says"
        return Played(entry, "", run, None, None, said, files)
    folder = out / RUNS / key
    return Played(entry, key, run, folder, *read_outcome(folder), files)


def read_outcome(folder: Path) -> tuple[ResultFile | None, str]:
    """A run's results in brief, or why it has none; neither where it was not analysed yet."""
    if (folder / "result.json").is_file():
        try:
            return read_brief(folder), ""
        except OutputError:
            shutil.rmtree(folder, ignore_errors=True)  # of another version or spoiled: to be made anew
    try:
        return None, str(json.loads(failure_file(folder).read_text(encoding="utf-8"))["message"])
    except (OSError, ValueError, KeyError, TypeError):
        return None, ""


_LABELS: Final[Mapping[Step, str]] = {
    "answer": "analysing runs",
    "causes": "seeking causes",
    "remedies": "seeking what would have won",
}


def list_due(played: Sequence[Played], steps: Collection[Step]) -> list[Task]:
    """The next piece of work for every run that lacks one of ``steps``; runs of one content are done once."""
    due: dict[str, Task] = {}
    for number, one in enumerate(played):
        if one.run is None or one.folder is None or one.key in due:
            continue
        step = next_step(one.folder, one.brief, one.message)
        if step is not None and step in steps:
            due[one.key] = Task(one.entry.id, step, one.run, one.folder, number, name_analysis())
    return list(due.values())


def work(
    played: Sequence[Played],
    crew: Crew,
    steps: Collection[Step],
    progress: Progress | None = None,
    answered: Callable[[tuple[Played, ...]], None] | None = None,
    timed: Callable[[Finished], None] | None = None,
) -> tuple[tuple[Played, ...], Counter[Step]]:
    """Do those of ``steps`` that a run lacks, all runs' first step before any run's second; nothing is done twice.

    Parameters
    ----------
    played, crew, steps : all lines, who does the work, and which work is wished.
    progress : told how far it has come.
    answered : told of all lines as they are when the last first answer is there, if more is to be done then.
    timed : told of each task as it is done.

    Returns
    -------
    played : all lines as they then are.
    done : how many tasks of each step there were.
    """
    tasks = list_due(played, steps)
    found: dict[str, tuple[ResultFile | None, str]] = {}
    todo, counted = Counter(task.step for task in tasks), Counter[Step]()

    def now() -> tuple[Played, ...]:
        return tuple(
            replace(one, brief=found[one.key][0], message=found[one.key][1]) if one.key in found else one
            for one in played
        )

    def tell(step: Step) -> None:
        if progress is not None:
            progress(_LABELS[step], counted[step], todo[step])

    def done(finished: Finished) -> Sequence[Task]:
        task = finished.task
        brief, noted = read_outcome(task.folder)
        found[task.folder.name] = brief, noted or finished.said
        counted[task.step] += 1
        following = None if finished.said else next_step(task.folder, brief, noted)
        more: list[Task] = []
        # A step that has just been done is not done again, whatever its results say.
        if following is not None and following in steps and STEPS.index(following) > STEPS.index(task.step):
            more = [replace(task, step=following)]
            todo[following] += 1
        tell(task.step)
        if timed is not None:
            timed(finished)
        if task.step == "answer" and counted["answer"] == todo["answer"] and counted != todo and answered is not None:
            answered(now())
        return more

    if tasks:
        for step in todo:
            tell(step)
        crew(tasks, done)
    return now(), counted


@contextmanager
def at_work(out: Path) -> Iterator[None]:
    """One season at a time in a folder; what a killed one left half-written is cleared away.

    Raises
    ------
    OutputError
        Where another one works there, or the folder cannot be written.
    """
    try:
        (out / RUNS).mkdir(parents=True, exist_ok=True)
        file = (out / _LOCK).open("w")
    except OSError as error:
        what = f"the results cannot be written ({error.strerror})"
        raise OutputError(what, where=str(out), do="choose another folder with --out") from error
    with file:
        if not _lock(file.fileno()):
            do = "wait until it is done, or choose another folder with --out"
            raise OutputError("another season is at work in this folder", where=str(out), do=do)
        for litter in (out / RUNS).glob(".*"):
            if litter.is_dir():
                shutil.rmtree(litter, ignore_errors=True)
            else:
                litter.unlink(missing_ok=True)
        yield


def _lock(handle: int) -> bool:
    """Hold the file until the process ends, however it ends; True too where the system knows no such locks."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
