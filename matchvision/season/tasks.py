"""The two pieces of work on a run: the first answer, then its causes; they run in whatever process they are given."""

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from matchvision.errors import MatchvisionError, OutputError, SetupError
from matchvision.records.sheet import Run

#: What a library looks at, when it is loaded, to know how many threads it may start.
THREAD_LIMITS: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")

#: What is no fault of the run: a full disk, a library that is missing. It is tried again at the next start.
_PASSING: Final = (OutputError, SetupError)


@dataclass(frozen=True, eq=False)
class Task:
    """One piece of work: ``folder`` is where the run's results stand or shall stand, named by its key."""

    entry: str
    step: Literal["answer", "causes"]
    run: Run
    folder: Path


def failure_file(folder: Path) -> Path:
    """Where it is noted that a run cannot be analysed, so that it is not tried again as it is."""
    return folder.with_name(f"{folder.name}.failed.json")


def do_task(task: Task) -> str:
    """Do it; what is found stands on disk. Returns "" or, where nothing can be said about the run, why.

    A run that cannot be analysed is noted beside the results, since it will not be better next time; where another
    process has done the work meanwhile nothing is done.

    Notes
    -----
    Checked by: tests/season/test_running.py::test_a_bad_clip_costs_its_own_row_only
    """
    try:
        if task.step == "answer":
            _answer(task.run, task.folder)
        else:
            _add_causes(task.run, task.folder)
    except MatchvisionError as error:
        # Where causes cannot be had the first answer stands; they stay due, and are sought again at the next start.
        if task.step == "answer" and not isinstance(error, _PASSING):
            write_whole(failure_file(task.folder), json.dumps({"message": error.message()}, ensure_ascii=False) + "\n")
        return error.message()
    return ""


def _answer(run: Run, folder: Path) -> None:
    if (folder / "result.json").is_file():
        return
    from matchvision import pipeline
    from matchvision.writing.publishing import publish_first

    publish_first(pipeline.answer_first(run), folder, marked_clip=False)


def _add_causes(run: Run, folder: Path) -> None:
    from matchvision import pipeline
    from matchvision.writing import read_brief
    from matchvision.writing.adding import add_causes
    from matchvision.writing.keeping import recall_grounds

    if not read_brief(folder).causes_due:
        return
    causes, note = pipeline.find_causes(run, recall_grounds(run, folder))
    add_causes(folder, causes, note)


def write_whole(path: Path, text: str) -> None:
    """A file that appears at once or not at all."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.unfinished")
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(path)
