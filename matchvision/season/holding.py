"""A season from its folder to its tables and page: verdicts first, causes later, nothing done twice.

What draws pages takes long to load and is loaded only where something has changed.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from matchvision.records.classbook import ClassBook, HandedIn
from matchvision.records.rubric import Rubric
from matchvision.records.season import Season
from matchvision.season.index import Index, open_index
from matchvision.season.manifest import list_teams
from matchvision.season.marks import find_rubric
from matchvision.season.pacing import ENOUGH, count_pictures, estimate, is_long, tell_estimate
from matchvision.season.program import fingerprint_program
from matchvision.season.receiving import read_received
from matchvision.season.running import PAGE, PRODUCTS, RUNS, Crew, Played, Progress, at_work, list_due, look_up, work
from matchvision.season.tasks import STEPS, Finished, Step, failure_file, next_step
from matchvision.season.tidying import take_away_outdated
from matchvision.season.unchanged import STATE, describe_unchanged, list_steps


@dataclass(frozen=True, eq=False)
class Held:
    """What came of it: the page, the book (None where nothing has changed since the last time), tasks done by step.

    ``gone``: results of runs as they were, taken away; None where that was asked for and not every run could be read.
    """

    page: Path
    book: ClassBook | None
    done: Mapping[Step, int]
    failed: int
    gone: int | None = 0


@dataclass(frozen=True)
class Wishes:
    """What is asked for: which steps, whether every clip's content is to be read again, outdated results to go."""

    causes: bool = True
    remedies: bool = True
    anew: bool = False
    tidy: bool = False

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps that are wished."""
        wished = list_steps(causes=self.causes, remedies=self.remedies)
        return tuple(step for step in STEPS if step in wished)


@dataclass
class Telling:
    """Who is told of what: how far the work has come, the page with all verdicts, how long it will take."""

    progress: Progress | None = None
    first: Callable[[Path, ClassBook], None] | None = None
    notice: Callable[[str], None] | None = None


_EVERYTHING: Final = Wishes()


def hold_season(
    season: Season,
    out: Path,
    crew: Crew,
    wishes: Wishes = _EVERYTHING,
    telling: Telling | None = None,
    *,
    workers: int = 1,
) -> Held:
    """Analyse what is not analysed yet, and write the class's tables and pages.

    Parameters
    ----------
    season : as `read_season` gives it.
    out : where tables, pages, index and the runs' results go.
    crew : who does the work: processes on this machine, or a cluster.
    wishes, telling : what is asked for, and who is told of what.
    workers : how many of the crew work at once, for what is said beforehand about time.

    Raises
    ------
    OutputError, SheetError

    Notes
    -----
    Checked by: tests/season/test_running.py::test_killed_at_any_moment_the_tables_are_the_same
    """
    telling = telling or Telling()
    rubric = find_rubric(season)
    forecasts, handed_in = read_received(season)
    with at_work(out), open_index(out) as index, ThreadPoolExecutor(1) as aside:
        index.keep_state(STATE, "")
        played = look_up(season, out, index, forecasts, anew=wishes.anew)
        clock = _Clock(index, played, wishes.steps, workers, telling.notice)
        clock.tell()
        drawing: list[Future[None]] = []

        def answered(then: tuple[Played, ...]) -> None:
            # Drawn while the workers go on: they need this process only to hand them their next task.
            drawing.append(aside.submit(_draw_first, season, then, rubric, handed_in, out, telling))

        played, done = work(played, crew, wishes.steps, telling.progress, answered, clock.note)
        for one in drawing:
            one.result()
        book = None
        state = _state_of(season, played, handed_in, rubric.model_dump(mode="json"))
        if done or index.state("book") != state or not all((out / name).is_file() for name in PRODUCTS):
            book, _ = _draw(season, played, rubric, handed_in, out)
            fill_index(index, played, book)
            index.keep_state("book", state)
        failed = sum(one.brief is None and bool(one.message) for one in played)
        gone = _tidy(out, played) if wishes.tidy else 0
        if _is_settled(played, wishes.steps):
            read = [path for one in played for path in one.files]
            kept = describe_unchanged(season.folder, out, {"steps": list(wishes.steps)}, read, PAGE, failed)
            index.keep_state(STATE, kept)
    return Held(out / PAGE, book, done, failed, gone)


def _tidy(out: Path, played: Sequence[Played]) -> int | None:
    """Take away results of runs as they were; nothing while a run cannot be read, whose results may be among them."""
    listed = [one for one in played if one.entry.run is not None or one.entry.clip is not None]
    if not all(one.key for one in listed):
        return None
    return take_away_outdated(out / RUNS, {one.key for one in listed})


def _draw(
    season: Season, played: Sequence[Played], rubric: Rubric, handed_in: Sequence[HandedIn], out: Path
) -> tuple[ClassBook, Path]:
    from matchvision.season.book import fill_book
    from matchvision.season.tables import write_book

    book = fill_book(season, played, rubric, handed_in)
    return book, write_book(book, out)


def _draw_first(
    season: Season, played: Sequence[Played], rubric: Rubric, handed_in: Sequence[HandedIn], out: Path, telling: Telling
) -> None:
    book, page = _draw(season, played, rubric, handed_in, out)
    if telling.first is not None:
        telling.first(page, book)


def _is_settled(played: Sequence[Played], steps: Sequence[Step]) -> bool:
    """Whether another start would find nothing to do, and nothing to try again."""
    for one in played:
        listed_only = one.entry.run is None and one.entry.clip is None
        if listed_only:
            continue
        if one.run is None or one.folder is None:
            return False
        if one.brief is None and not failure_file(one.folder).is_file():
            return False
        if next_step(one.folder, one.brief, one.message) in steps:
            return False
    return True


@dataclass
class _Clock:
    """Says before the work, and again when the first runs have been timed, how long it will take."""

    index: Index
    played: Sequence[Played]
    steps: Sequence[Step]
    workers: int
    notice: Callable[[str], None] | None
    _pictures: dict[str, float] = field(default_factory=dict)
    _open: dict[Step, set[str]] = field(default_factory=dict)
    _fresh: Counter[Step] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        for task in list_due(self.played, self.steps):
            key = task.folder.name
            self._pictures[key] = count_pictures(task.run)
            for step in self.steps[self.steps.index(task.step) :]:
                self._open.setdefault(step, set()).add(key)

    def tell(self, *, again: bool = False) -> None:
        if self.notice is None or not self._open:
            return
        told = [
            estimate(step, [self._pictures[key] for key in sorted(keys)], self.index.paces(step), self.workers)
            for step, keys in self._open.items()
            if keys
        ]
        said = tell_estimate(told, self.workers)
        if said and (is_long(told) or not again):
            self.notice(said)

    def note(self, finished: Finished) -> None:
        key, step = finished.task.folder.name, finished.task.step
        self._open.get(step, set()).discard(key)
        if finished.said:
            for later in self._open.values():
                later.discard(key)
            return
        self.index.keep_pace(key, step, self._pictures.get(key, 0.0), finished.took_s)
        self._fresh[step] += 1
        if self._fresh[step] == ENOUGH and step != STEPS[-1]:
            self.tell(again=True)


def _state_of(
    season: Season, played: Sequence[Played], handed_in: Sequence[HandedIn], rubric: Mapping[str, object]
) -> str:
    """A fingerprint of all that the tables and pages are made of."""
    content = [
        fingerprint_program(),
        season.name,
        season.sheet.model_dump(mode="json"),
        list_teams(season),
        # Where files lie does not matter, their content is in the keys.
        [repr(replace(entry, run=None, clip=None, forecast=None)) for entry in season.entries],
        [repr(override) for override in season.overrides],
        [repr(one) for one in handed_in],
        rubric,
        [
            (one.key, one.message, None if one.folder is None else next_step(one.folder, one.brief, one.message))
            for one in played
        ],
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
