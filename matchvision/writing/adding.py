"""What is added to results that stand on disk already: causes, and whatever takes long to draw."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from matchvision.records.results import CauseRow, StageNote
from matchvision.report.causing import draw_causes, fill_causes
from matchvision.writing.keeping import KEPT
from matchvision.writing.resultfile import CauseBrief, NoteBrief, ResultFile
from matchvision.writing.results import read_brief, write_table
from matchvision.writing.swapping import MARK, told_plainly
from matchvision.writing.tables import tabulate_causes


def add_causes(folder: Path, causes: tuple[CauseRow, ...], note: StageNote) -> None:
    """Fill causes into a first answer: table, report and, last, ``result.json``. Each file is replaced whole.

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
            "causes": tuple(CauseBrief(**asdict(cause)) for cause in causes),
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
    )
    with adding_to(folder, told) as unfinished:
        write_table(unfinished / f"causes.{ending}", "causes", tabulate_causes(causes))
        report = folder / "report.html"
        if report.is_file():
            page = fill_causes(report.read_text(encoding="utf-8"), drawn)
            (unfinished / report.name).write_text(page, encoding="utf-8")
    (folder / KEPT).unlink(missing_ok=True)


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
    if entry.is_dir():
        shutil.rmtree(target, ignore_errors=True)
    entry.replace(target)
