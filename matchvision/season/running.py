"""A season's work: which runs there are, which of them are done, and doing the rest."""

import json
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from matchvision.errors import OutputError, SheetError
from matchvision.records.season import Entry, Season
from matchvision.records.sheet import Run
from matchvision.season.assembling import assemble_entry
from matchvision.season.index import Index
from matchvision.season.keys import key_of
from matchvision.season.tasks import Task, failure_file
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
PRODUCTS: Final = (PAGE, *(f"{name}.csv" for name in TABLES))


@dataclass(frozen=True, eq=False)
class Played:
    """One line of the list and how far it has come: its results in brief, or why there are none."""

    entry: Entry
    key: str
    run: Run | None
    folder: Path | None
    brief: ResultFile | None
    message: str


#: Does tasks in their order and tells of each as it is done.
Crew = Callable[[Sequence[Task], Callable[[Task, str], None]], None]
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
        run = assemble_entry(season, entry, forecasts)
    except SheetError as error:
        return Played(entry, "", None, None, None, error.message())
    try:
        key = key_of(run, index.clip_sha256(run.clip, anew=anew))
    except OSError as error:
        said = f"{run.clip.name}: the clip cannot be read ({error.strerror}); lay it where the list says"
        return Played(entry, "", run, None, None, said)
    folder = out / RUNS / key
    return Played(entry, key, run, folder, *read_outcome(folder))


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


def work(
    played: Sequence[Played], crew: Crew, step: str, progress: Progress | None = None
) -> tuple[tuple[Played, ...], int]:
    """Do one step, "answer" or "causes", for every run that lacks it; what is finished is left alone.

    Returns
    -------
    played : all lines as they then are.
    done : how many tasks there were.
    """
    tasks: dict[str, Task] = {}
    for one in played:
        if one.run is None or one.folder is None or one.key in tasks:
            continue
        if step == "answer" and one.brief is None and not one.message:
            tasks[one.key] = Task(one.entry.id, "answer", one.run, one.folder)
        elif step == "causes" and one.brief is not None and one.brief.causes_due:
            tasks[one.key] = Task(one.entry.id, "causes", one.run, one.folder)
    if not tasks:
        return tuple(played), 0
    said: dict[str, str] = {}
    label = "analysing runs" if step == "answer" else "seeking causes"

    def done(task: Task, message: str) -> None:
        said[task.folder.name] = message
        if progress is not None:
            progress(label, len(said), len(tasks))

    if progress is not None:
        progress(label, 0, len(tasks))
    crew(list(tasks.values()), done)
    fresh = []
    for one in played:
        if one.key not in tasks or one.folder is None:
            fresh.append(one)
            continue
        brief, message = read_outcome(one.folder)
        fresh.append(Played(one.entry, one.key, one.run, one.folder, brief, message or said.get(one.key, "")))
    return tuple(fresh), len(tasks)


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
