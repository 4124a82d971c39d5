"""A season from its folder to its tables and page: verdicts first, causes later, nothing done twice.

What draws pages takes long to load and is loaded only where something has changed.
"""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from matchvision import __version__
from matchvision.records.classbook import ClassBook, HandedIn
from matchvision.records.season import Season
from matchvision.season.index import Index, open_index
from matchvision.season.marks import find_rubric
from matchvision.season.receiving import read_received
from matchvision.season.running import PAGE, PRODUCTS, Crew, Played, Progress, at_work, look_up, work


@dataclass(frozen=True, eq=False)
class Held:
    """What came of it: the page, the book (None where nothing has changed since the last time), tasks done."""

    page: Path
    book: ClassBook | None
    answered: int
    explained: int


def hold_season(
    season: Season,
    out: Path,
    crew: Crew,
    *,
    causes: bool = True,
    anew: bool = False,
    progress: Progress | None = None,
    first: Callable[[Path, ClassBook], None] | None = None,
) -> Held:
    """Analyse what is not analysed yet, and write the class's tables and pages.

    Parameters
    ----------
    season : as `read_season` gives it.
    out : where tables, pages, index and the runs' results go.
    crew : who does the work: processes on this machine, or a cluster.
    causes : also seek causes, after all verdicts.
    anew : read every clip's content again, whatever its size and time say.
    progress : told how far the work has come.
    first : told of the page that stands as soon as all verdicts do.

    Raises
    ------
    OutputError, SheetError

    Notes
    -----
    Checked by: tests/season/test_running.py::test_killed_at_any_moment_the_tables_are_the_same
    """
    rubric = find_rubric(season)
    forecasts, handed_in = read_received(season)
    with at_work(out), open_index(out) as index:
        played = look_up(season, out, index, forecasts, anew=anew)
        played, answered = work(played, crew, "answer", progress)
        due = causes and any(one.brief is not None and one.brief.causes_due for one in played)
        if answered and due:
            from matchvision.season.book import fill_book
            from matchvision.season.tables import write_book

            book = fill_book(season, played, rubric, handed_in)
            page = write_book(book, out)
            if first is not None:
                first(page, book)
        explained = 0
        if causes:
            played, explained = work(played, crew, "causes", progress)
        state = _state_of(season, played, handed_in, rubric.model_dump(mode="json"))
        if not (answered or explained) and index.state("book") == state and _is_whole(out):
            return Held(out / PAGE, None, 0, 0)
        from matchvision.season.book import fill_book
        from matchvision.season.tables import write_book

        book = fill_book(season, played, rubric, handed_in)
        page = write_book(book, out)
        fill_index(index, played, book)
        index.keep_state("book", state)
    return Held(page, book, answered, explained)


def _is_whole(out: Path) -> bool:
    return all((out / name).is_file() for name in PRODUCTS)


def _state_of(
    season: Season, played: Sequence[Played], handed_in: Sequence[HandedIn], rubric: Mapping[str, object]
) -> str:
    """A fingerprint of all that the tables and pages are made of."""
    content = [
        __version__,
        season.name,
        season.sheet.model_dump(mode="json"),
        # Where files lie does not matter, their content is in the keys.
        [repr(replace(entry, run=None, clip=None, forecast=None)) for entry in season.entries],
        [repr(override) for override in season.overrides],
        [repr(one) for one in handed_in],
        rubric,
        [(one.key, one.message, one.brief is not None, bool(one.brief and one.brief.causes_due)) for one in played],
    ]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def fill_index(index: Index, played: Sequence[Played], book: ClassBook) -> None:
    """Every run's outcome and numbers, to be asked by SQL."""
    runs, numbers, events, causes = [], [], [], []
    for line, one in zip(book.lines, played, strict=True):
        sides = (*line.teams, "", "")[:2]
        margins = [None if v != v else v for v in (line.margin_m, line.u_margin_m)]  # NaN is not equal to itself
        runs.append(
            (
                line.id,
                one.key,
                line.round,
                line.table,
                *sides,
                line.status,
                line.winner,
                *margins,
                int(line.sure),
                line.message,
            )
        )
        if one.brief is None:
            continue
        numbers += [
            (
                line.id,
                f"{r.phase}: {r.quantity}" if r.phase else r.quantity,
                r.unit,
                r.predicted,
                r.u_predicted,
                r.measured,
                r.u_measured,
            )
            for r in one.brief.comparison
        ]
        events += [(line.id, e.kind, e.machine, e.start_s, e.probability) for e in one.brief.events]
        causes += [(line.id, c.cause, c.machine, c.probability, c.statement) for c in one.brief.causes]
    index.fill((("run", runs), ("number", numbers), ("event", events), ("cause", causes)))
