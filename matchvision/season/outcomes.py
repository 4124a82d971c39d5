"""From results in brief to the lines of the class's book: outcomes, what to look at, upsets, standings, reliability."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from matchvision.records.classbook import Doubt, Reliability, RunLine, Standing, Upset
from matchvision.records.season import Entry, Override, Season
from matchvision.repeats import success_runs
from matchvision.season.running import RUNS, Played
from matchvision.uncertainty.scoring import wilson_interval
from matchvision.writing import ResultFile

NAN: Final = math.nan
#: A cause that is less likely than this does not explain a run.
LEADING_CAUSE: Final = 0.5
#: Stages whose silence costs a verdict. That a forecast cannot be computed is told too; other stages are silent where
#: the sheet gives them nothing to work with, which needs nobody's eye.
_VITAL: Final = ("table", "markers", "motion")


def describe_line(season: Season, one: Played) -> RunLine:
    """One line of the list with its outcome, overrides and replays taken into account."""
    entry, brief = one.entry, one.brief
    overrides = [o for o in season.overrides if o.entry == entry.id and o.what == "winner"]
    measured = brief.verdict.winner or "" if brief else ""
    winner = overrides[-1].value if overrides else measured
    cause = max(brief.causes, key=lambda c: c.probability or 0.0, default=None) if brief else None
    verdict = brief.verdict if brief else None
    replayed = [e for e in season.entries if e.replays == entry.id]
    return RunLine(
        id=entry.id,
        round=entry.round,
        table=entry.table,
        teams=entry.teams,
        kind=brief.run.kind if brief else "",
        status=_status(one),
        winner=winner,
        measured_winner=measured,
        sure=bool(overrides) or (verdict is not None and verdict.sure),
        margin_m=_number(verdict.margin_m if verdict else None),
        u_margin_m=_number(verdict.u_margin_m if verdict else None),
        chance=chance_of(brief, winner),
        cause=cause.cause if cause else "",
        cause_probability=_number(cause.probability if cause else None),
        cause_statement=cause.statement if cause else "",
        remedy=brief.remedies.sentence if brief and brief.remedies else "",
        counts=not replayed,
        remarks=_remarks(entry, replayed, overrides),
        message=one.message,
        folder=f"{RUNS}/{Path(one.folder).name}" if one.folder is not None and brief is not None else "",
    )


def _status(one: Played) -> str:
    if one.brief is not None:
        return "answered" if one.brief.causes_due else "done"
    if one.message:
        return "failed"
    return "listed"


def _number(value: float | None) -> float:
    return NAN if value is None else value


def chance_of(brief: ResultFile | None, winner: str) -> float:
    """What the forecasts gave the winner, kept off 0 and 1 by what so many samples can tell (rule of succession)."""
    if brief is None or brief.forecast is None or not winner:
        return NAN
    chance = brief.forecast.win_chance.get(winner)
    if chance is None:
        return NAN
    n = brief.forecast.samples
    return (chance * n + 1) / (n + 2)


def _remarks(entry: Entry, replayed: Sequence[Entry], overrides: Sequence[Override]) -> tuple[str, ...]:
    said = [f"replays {entry.replays}: {entry.reason}"] if entry.replays else []
    said += [f"replayed as {other.id} after a protest: {other.reason}; does not count" for other in replayed]
    for one in overrides:
        by = f" by {one.by}" if one.by else ""
        said.append(f"winner set to {one.value}{by}: {one.reason}")
    return tuple(said)


def find_doubts(lines: Sequence[RunLine], played: Sequence[Played]) -> tuple[Doubt, ...]:
    """Runs that need a human eye, the gravest first.

    Notes
    -----
    Checked by: tests/season/test_outcomes.py::test_what_needs_an_eye_comes_first
    """
    found = []
    for line, one in zip(lines, played, strict=True):
        reasons = _doubts_of(line, one)
        if reasons:
            found.append(
                Doubt(line.id, max(w for w, _ in reasons), tuple(text for _, text in sorted(reasons, reverse=True)))
            )
    return tuple(sorted(found, key=lambda doubt: (-doubt.weight, -len(doubt.why))))


def _doubts_of(line: RunLine, one: Played) -> list[tuple[int, str]]:
    if line.status == "failed":
        return [(3, line.message)]
    brief = one.brief
    if brief is None:
        return []
    lacking = "Its causes" if brief.causes_due else "What would have won"
    reasons = [(1, f"{lacking} could not be sought: {line.message}")] if line.message else []
    match = brief.run.kind == "match"
    if match and not line.measured_winner:
        reasons.append((3, brief.verdict.sentence))
    elif match and not brief.verdict.sure and not brief.verdict.doubts:
        reasons.append((2, "Who has won is not surely known: too close to call."))
    open_doubts = [one for one in brief.verdict.doubts if not one.covered]
    reasons += [
        (2 if brief.verdict.sure else 3, f"The footage contradicts the sheet, {one.key}: {one.shown}.")
        for one in open_doubts
    ]
    if line.measured_winner and line.winner != line.measured_winner:
        reasons.append((2, f"Measured as won by {line.measured_winner}, set to {line.winner}."))
    reasons += [(3, f"{f.what}: {f.consequence}") for f in brief.footage_faults if f.weight == "unusable"]
    reasons += [(2, text) for text in brief.disagreement]
    silent = [n for n in brief.notes if n.status == "skipped"]
    reasons += [(2, f"{n.stage}: {n.sentence}") for n in silent if n.stage in _VITAL]
    reasons += [(1, f"{n.stage}: {n.sentence}") for n in silent if n.stage == "forecast" and brief.stated]
    if match and brief.causes and not brief.causes_due:
        if line.cause == "unexplained":
            reasons.append((2, line.cause_statement))
        elif line.cause_probability < LEADING_CAUSE:
            reasons.append((1, f"No cause leads: the likeliest has {100 * line.cause_probability:.0f} %."))
    return reasons


def find_upsets(lines: Sequence[RunLine]) -> tuple[Upset, ...]:
    """Matches that went to the side with the smaller chance, the least likely first."""
    found = [
        Upset(
            id=line.id,
            winner=line.winner,
            loser=next((team for team in line.teams if team != line.winner), ""),
            chance=line.chance,
            sure=line.sure,
            cause=line.cause,
            cause_probability=line.cause_probability,
            statement=line.cause_statement
            or ("Its causes are still to be sought." if line.status == "answered" else ""),
        )
        for line in lines
        if line.counts and line.winner and line.chance < 0.5
    ]
    return tuple(sorted(found, key=lambda upset: upset.chance))


def find_standings(teams: Sequence[str], lines: Sequence[RunLine]) -> tuple[Standing, ...]:
    """Matches that count, the most won first."""
    found = []
    for team in teams:
        own = [
            x
            for x in lines
            if x.counts and team in x.teams and len(x.teams) == 2 and x.status in ("answered", "done", "failed")
        ]
        won = sum(x.winner == team for x in own)
        lost = sum(bool(x.winner) and x.winner != team for x in own)
        found.append(Standing(team, len(own), won, lost, len(own) - won - lost))
    return tuple(sorted(found, key=lambda one: (-one.won, one.lost, one.team)))


def find_reliability(
    teams: Sequence[str], played: Sequence[Played], spoiled_by: Sequence[str]
) -> tuple[Reliability, ...]:
    """How many of each machine's runs went well; a run is spoiled by what the season's rules say.

    Runs replayed later count too: the machine did run. Events after the match are passed over.

    Notes
    -----
    Checked by: tests/season/test_outcomes.py::test_reliability_counts_what_can_be_judged
    """
    return tuple(_reliability_of(team, played, spoiled_by) for team in teams)


def _reliability_of(team: str, played: Sequence[Played], spoiled_by: Sequence[str]) -> Reliability:
    good, failures, unknown = 0, [], 0
    for one in played:
        if team not in one.entry.teams:
            continue
        brief = one.brief
        if brief is None or not any(n.stage == "grip" and n.status != "skipped" for n in brief.notes):
            unknown += brief is not None or bool(one.message)
            continue
        end_s = brief.clock.duration_s
        bad = [e for e in brief.events if e.machine == team and e.kind in spoiled_by and e.start_s <= end_s]
        if bad:
            first = min(bad, key=lambda e: e.start_s)
            failures.append(f"{one.entry.id}: {first.kind} at {first.start_s:.1f} s")
        else:
            good += 1
    runs = good + len(failures)
    low, high = wilson_interval(good, runs)
    needed = max(0, success_runs(0.9, 0.9, len(failures)) - runs)
    return Reliability(team, good, runs, low, high, needed, unknown, tuple(failures))
