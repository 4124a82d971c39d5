"""What is added to results that stand on disk already: causes, and whatever takes long to draw."""

import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from matchvision.records.marks import Marks
from matchvision.records.results import CauseRow, StageNote
from matchvision.report.causing import draw_causes, draw_marks
from matchvision.report.embedding import hold_clip
from matchvision.report.slots import fill_slots
from matchvision.report.stills import Still
from matchvision.writing.keeping import KEPT
from matchvision.writing.resultfile import NoteBrief, ResultFile, brief_cause
from matchvision.writing.results import read_brief, write_table
from matchvision.writing.swapping import MARK, told_plainly
from matchvision.writing.tables import tabulate_causes


def add_causes(folder: Path, causes: tuple[CauseRow, ...], note: StageNote, stills: Sequence[Still] = ()) -> None:
    """Fill causes into a first answer: table, report and, last, ``result.json``. Each file is replaced whole.

    ``stills`` are pictures of the likeliest cause at work, where the clip is at hand.

    Interrupted half-way it can be done again: until ``result.json`` is written the causes count as due.

    Raises
    ------
    OutputError
        Where there are no results, or the folder cannot be written.

    Notes
    -----
    Checked by: tests/writing/test_adding.py::test_causes_are_added_to_a_first_answer
    """
    brief = read_brief(folder)
    ending = "parquet" if (folder / "causes.parquet").is_file() else "csv"
    told = brief.model_copy(
        update={
            "causes": tuple(brief_cause(cause) for cause in causes),
            "causes_due": False,
            "notes": (*(n for n in brief.notes if n.stage != note.stage), NoteBrief(**asdict(note))),
        }
    )
    drawn = draw_causes(
        causes,
        note,
        kind=brief.run.kind,
        forecast=brief.forecast is not None,
        compared=bool(brief.comparison),
        due=False,
        events=brief.events,
        stills=stills,
    )
    with adding_to(folder, told) as unfinished:
        write_table(unfinished / f"causes.{ending}", "causes", tabulate_causes(causes))
        _fill_page(folder, unfinished, drawn)
    (folder / KEPT).unlink(missing_ok=True)


def add_marks(folder: Path, marks: Marks) -> None:
    """Fill marks and scores into the instructor's part of the report; a report without a comparison has no place."""
    with adding_to(folder) as unfinished:
        _fill_page(folder, unfinished, draw_marks(marks))


def hold_marked_clip(folder: Path, unfinished: Path) -> None:
    """Put the marked clip that lies in ``unfinished`` into the report, which then needs no file beside it."""
    _fill_page(folder, unfinished, hold_clip((unfinished / "marked.mp4").read_bytes()))


def _fill_page(folder: Path, unfinished: Path, drawn: Mapping[str, str]) -> None:
    """The report with some of its slots filled, into ``unfinished``; nothing where somebody took the report away."""
    report = folder / "report.html"
    if report.is_file():
        page = fill_slots(report.read_text(encoding="utf-8"), drawn)
        (unfinished / report.name).write_text(page, encoding="utf-8")


@contextmanager
def adding_to(folder: Path, brief: ResultFile | None = None) -> Iterator[Path]:
    """A fresh folder; what lies in it when the block ends well moves into the results, ``result.json`` last.

    ``brief`` is what ``result.json`` then says, but for the list of files; as before if None.
    """
    if brief is None:
        brief = read_brief(folder)
    with told_plainly(folder):
        unfinished = Path(tempfile.mkdtemp(prefix=f".{folder.name}.adding-", dir=folder.resolve().parent))
    try:
        yield unfinished
        with told_plainly(folder):
            added = sorted(unfinished.iterdir())
            for entry in added:
                _move(entry, folder / entry.name)
            files = {*brief.files, *(entry.name for entry in added)} - ({KEPT} if not brief.causes_due else set())
            brief = brief.model_copy(update={"files": tuple(sorted(files))})
            mark = unfinished / MARK
            mark.write_text(brief.model_dump_json(indent=1) + "\n", encoding="utf-8")
            mark.replace(folder / MARK)
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)


def _move(entry: Path, target: Path) -> None:
    """Into a folder that is there already each file moves by itself: figures come in two goes."""
    if entry.is_dir() and target.is_dir():
        for inner in sorted(entry.iterdir()):
            _move(inner, target / inner.name)
        return
    entry.replace(target)
