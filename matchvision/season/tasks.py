"""The pieces of work on a run: first answer, causes, what would have won; they run in whatever process has them."""

import json
import math
import os
import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from matchvision.errors import MatchvisionError, OutputError, SetupError
from matchvision.records.sheet import Run
from matchvision.season.program import OUTER, fingerprint_program

if TYPE_CHECKING:
    from matchvision.writing import ResultFile

#: What a library looks at, when it is loaded, to know how many threads it may start.
THREAD_LIMITS: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")

#: What is no fault of the run: a full disk, a library that is missing. It is tried again at the next start.
_PASSING: Final = (OutputError, SetupError)

Step = Literal["answer", "causes", "remedies"]
#: The steps of a run in their order; all runs' first step comes before any run's second.
STEPS: Final[tuple[Step, ...]] = ("answer", "causes", "remedies")


@dataclass(frozen=True, eq=False)
class Task:
    """One piece of work: ``folder`` is where the run's results stand or shall stand, named by its key.

    ``number``: the run's place in the list. ``program``: the state of the program that the key was made for; "" if that
    does not matter.
    """

    entry: str
    step: Step
    run: Run
    folder: Path
    number: int = 0
    program: str = ""

    @property
    def urgency(self) -> tuple[int, int]:
        """The smallest comes first: earlier steps, then the order of the list."""
        return STEPS.index(self.step), self.number


@dataclass(frozen=True, eq=False)
class Finished:
    """A task that is done: "" or, where nothing can be said about its run, why; and how long a worker had it."""

    task: Task
    said: str
    took_s: float


#: Told of a finished task; gives what has thereby become due.
Done = Callable[[Finished], Sequence[Task]]


def failure_file(folder: Path) -> Path:
    """Where it is noted that a run cannot be analysed, so that it is not tried again as it is."""
    return folder.with_name(f"{folder.name}.failed.json")


def later_folder(folder: Path) -> Path:
    """Where it is kept, beside results with their causes, what it needs to seek what would have won."""
    return folder.with_name(f"{folder.name}.later")


def next_step(folder: Path, brief: "ResultFile | None", message: str) -> Step | None:
    """What is to be done next for a run whose results are ``brief``, or that failed with ``message``."""
    if brief is None:
        return None if message else "answer"
    if brief.causes_due:
        return "causes"
    sought = any(note.stage == "remedies" for note in brief.notes)
    return "remedies" if not sought and later_folder(folder).is_dir() else None


def do_task(task: Task) -> str:
    """Do it; what is found stands on disk. Returns "" or, where nothing can be said about the run, why.

    A run that cannot be analysed is noted beside the results, since it will not be better next time; where another
    process has done the work meanwhile nothing is done.

    Notes
    -----
    Checked by: tests/season/test_running.py::test_a_bad_clip_costs_its_own_row_only
    """
    try:
        _refuse_changed_program(task)
        if task.step == "answer":
            _answer(task.run, task.folder)
        elif task.step == "causes":
            _add_causes(task.run, task.folder)
        else:
            _add_remedies(task.run, task.folder)
    except MatchvisionError as error:
        # Where causes cannot be had the first answer stands; they stay due, and are sought again at the next start.
        if task.step == "answer" and not isinstance(error, _PASSING):
            write_whole(failure_file(task.folder), json.dumps({"message": error.message()}, ensure_ascii=False) + "\n")
        return error.message()
    return ""


def _refuse_changed_program(task: Task) -> None:
    """A result must not stand under the key of a program that did not compute it."""
    if task.program and fingerprint_program(without=OUTER) != task.program:
        what = "the program that works here is not the one that the season was started with"
        raise SetupError(what, do="start the season again; on a cluster install the same state of it on every worker")


def _answer(run: Run, folder: Path) -> None:
    if (folder / "result.json").is_file():
        return
    from matchvision import pipeline
    from matchvision.footage.freeing import give_back_memory
    from matchvision.writing.publishing import publish_first

    # Workers are many and stay: what one stage needed for a while must not stand beside what the next one needs.
    analysis = pipeline.answer_first(run, finished=lambda _: give_back_memory())
    publish_first(analysis, folder, marked_clip=False)
    give_back_memory()


def _add_causes(run: Run, folder: Path) -> None:
    from matchvision import pipeline
    from matchvision.writing import read_brief
    from matchvision.writing.adding import add_causes
    from matchvision.writing.keeping import KEPT, recall_grounds

    brief = read_brief(folder)
    if not brief.causes_due:
        return
    causes, note = pipeline.find_causes(run, recall_grounds(run, folder))
    if brief.run.kind == "match" and brief.verdict.winner is not None:
        set_aside(folder, KEPT)
    add_causes(folder, causes, note)


def set_aside(folder: Path, name: str) -> None:
    """Copy one file of the results to where it waits for the last step; whole or not at all."""
    later = later_folder(folder)
    shutil.rmtree(later, ignore_errors=True)
    try:
        unfinished = Path(tempfile.mkdtemp(prefix=f".{folder.name}.later-", dir=folder.parent))
        shutil.copyfile(folder / name, unfinished / name)
        unfinished.rename(later)
    except OSError as error:
        raise OutputError(f"the results cannot be written ({error.strerror})", where=str(folder.parent)) from error


def _add_remedies(run: Run, folder: Path) -> None:
    from matchvision import pipeline
    from matchvision.records.results import CauseRow
    from matchvision.writing import read_brief
    from matchvision.writing.keeping import recall_grounds
    from matchvision.writing.remedying import add_remedies

    brief, later = read_brief(folder), later_folder(folder)
    if next_step(folder, brief, "") == "remedies":
        causes = tuple(
            CauseRow(
                cause=one.cause,
                machine=one.machine,
                probability=_number(one.probability),
                estimate=_number(one.estimate),
                u_estimate=_number(one.u_estimate),
                unit=one.unit,
                since_s=_number(one.since_s),
                statement=one.statement,
            )
            for one in brief.causes
        )
        add_remedies(folder, *pipeline.find_remedies(run, recall_grounds(run, later), causes))
    shutil.rmtree(later, ignore_errors=True)


def _number(value: float | None) -> float:
    """What JSON holds as null is NaN in a record."""
    return math.nan if value is None else value


def write_whole(path: Path, text: str) -> None:
    """A file that appears at once or not at all."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.unfinished")
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(path)
