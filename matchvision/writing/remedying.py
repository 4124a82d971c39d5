"""What would have won, added to results that stand on disk already."""

from dataclasses import asdict
from pathlib import Path

from matchvision.records.remedies import Remedies
from matchvision.records.results import StageNote
from matchvision.report.remedying import draw_remedies
from matchvision.report.slots import fill_slots
from matchvision.writing.adding import adding_to
from matchvision.writing.resultfile import NoteBrief, RemediesBrief
from matchvision.writing.results import read_brief


def add_remedies(folder: Path, remedies: Remedies | None, note: StageNote) -> None:
    """Fill what would have won into the report and ``result.json``; None leaves its reason in the note.

    Raises
    ------
    OutputError
        Where there are no results, or the folder cannot be written.

    Notes
    -----
    Checked by: tests/writing/test_remedying.py::test_remedies_are_added_to_results
    """
    brief = read_brief(folder)
    told = brief.model_copy(
        update={
            "remedies": None if remedies is None else RemediesBrief.model_validate(asdict(remedies)),
            "notes": (*(n for n in brief.notes if n.stage != note.stage), NoteBrief(**asdict(note))),
        }
    )
    with adding_to(folder, told) as unfinished:
        report = folder / "report.html"
        if report.is_file():
            page = fill_slots(report.read_text(encoding="utf-8"), draw_remedies(remedies, note))
            (unfinished / report.name).write_text(page, encoding="utf-8")
