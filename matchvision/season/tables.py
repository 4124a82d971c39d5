"""The class's tables and pages on disk: the same book gives the same bytes."""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, Final

from matchvision.errors import OutputError
from matchvision.records.classbook import (
    ChanceBin,
    ClassBook,
    Coverage,
    Doubt,
    HandedIn,
    MarkLine,
    Pair,
    Reliability,
    RunLine,
    Spread,
    Standing,
    Upset,
)
from matchvision.report.classpage import render_class, render_team
from matchvision.season.running import DOCUMENT, PAGE
from matchvision.season.tasks import write_whole
from matchvision.writing.documents import format_class_document

_DRAW: Final = ("round", "minus_x", "plus_x", "winner", "id", "status")


def write_book(book: ClassBook, out: Path) -> Path:
    """Write every table, all of them as JSON, the class's page and one a team into ``out``; returns the class's page.

    Raises
    ------
    OutputError
        Where they cannot be written.

    Notes
    -----
    Checked by: tests/season/test_running.py::test_killed_at_any_moment_the_tables_are_the_same
    """
    tables: dict[str, tuple[type, Sequence[Any]]] = {
        "results": (RunLine, book.lines),
        "look-first": (Doubt, book.doubts),
        "predicted": (Pair, book.pairs),
        "coverage": (Coverage, book.coverage),
        "chances": (ChanceBin, book.chances),
        "honesty": (Spread, book.spreads),
        "upsets": (Upset, book.upsets),
        "reliability": (Reliability, book.reliability),
        "standings": (Standing, book.standings),
        "marks": (MarkLine, book.marks),
        "handed-in": (HandedIn, book.handed_in),
    }
    try:
        (out / "teams").mkdir(parents=True, exist_ok=True)
        for name, (kind, rows) in tables.items():
            write_whole(out / f"{name}.csv", format_table(kind, rows))
        write_whole(out / "draw.csv", format_draw(book))
        write_whole(out / DOCUMENT, format_class_document(book) + "\n")
        for team in book.teams:
            write_whole(out / "teams" / f"{team}.html", render_team(book, team))
        write_whole(out / PAGE, render_class(book))
    except OSError as error:
        what = f"the tables cannot be written ({error.strerror})"
        raise OutputError(what, where=str(out), do="check free space and your rights there") from error
    return out / PAGE


def format_table(kind: type, rows: Sequence[Any]) -> str:
    """Records as CSV, a column a field; an empty cell is not known, several words are set apart by "; "."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    names = [field.name for field in fields(kind)]
    writer.writerow(names)
    writer.writerows([[_cell(getattr(row, name)) for name in names] for row in rows])
    return text.getvalue()


def format_draw(book: ClassBook) -> str:
    """The draw as CSV, a row a pairing."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_DRAW)
    for one in book.rounds:
        writer.writerows([[one.name, p.minus, p.plus, p.winner, p.id, p.status] for p in one.pairings])
    return text.getvalue()


def _cell(value: Any) -> object:  # noqa: ANN401 - whatever a record holds
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, float):
        return f"{value:.6g}" if math.isfinite(value) else ""
    if isinstance(value, tuple):
        return "; ".join(map(str, value))
    return value
