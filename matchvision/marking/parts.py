"""Each part of a mark, with its arithmetic as a sentence."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.marking.rows import Answered, computed_rows, pull_was_measured, stated_peak
from matchvision.marking.scoring import (
    say_unjudged,
    scored_rows,
    stated_chance,
    win_probability,
)
from matchvision.records.causes import SHOWN_BY
from matchvision.records.marks import Mark
from matchvision.records.rubric import Rubric, Tolerance
from matchvision.uncertainty import K_95, format_chance, format_interval
from matchvision.uncertainty.scoring import K_EXPANDED, expected_brier
from matchvision.writing.resultfile import CauseBrief, ResultFile

NAN: Final = math.nan
#: A stated uncertainty whose expanded value exceeds this share of the quantity's size could not have been contradicted.
BLUNT_RATIO: Final = 0.5
#: What is told only of a machine that no team stands behind: a guessed opponent, or a load.
OF_OTHERS: Final = ("opponent-stronger", "opponent-heavier", "rough-stretch")
#: A probability below this is 0.00 as shown.
LEAST_SHOWN: Final = 0.005
_COUNTED: Final = {2: "two", 3: "three"}


def mark_win_chance(result: ResultFile, name: str, rubric: Rubric) -> Mark:
    """The stated chance by its Brier score: points = weight × (1 − Brier).

    Straight in the Brier score, so that no other statement than the honest one earns more on average (a strictly proper
    rule); a coin's 50 % earns three quarters, sure and right all, sure and wrong nothing.
    """
    of = rubric.weights.win_chance
    chance, whence = stated_chance(result, name)
    won = win_probability(result, name)
    if not math.isfinite(won):
        return Mark(name, "win_chance", NAN, of, say_unjudged(result))
    if not math.isfinite(chance):
        return Mark(name, "win_chance", 0.0, of, f"No chance to win was stated: 0 of {of:g}.")
    brier = expected_brier(chance, won)
    points = of * (1.0 - brier)
    happened = f"it has {'won' if won > 0.5 else 'not won'}" + ("" if abs(won - 0.5) > 0.475 else _close(won))
    sums = _chance_sums(chance, won)
    said = f"{100 * chance:.0f} % {whence}, {happened}: {of:g} × (1 − {sums}) = {points:.1f}."
    return Mark(name, "win_chance", points, of, said)


def mark_peak_pull(result: ResultFile, name: str, rubric: Rubric) -> Mark:
    """The peak pull stated beforehand, by its error against the tolerance."""
    of = rubric.weights.peak_pull
    stated = result.stated.get(name)
    silent = stated is None or stated.peak_pull_N is None
    if silent and pull_was_measured(result):
        return Mark(name, "peak_pull", 0.0, of, f"No peak pull was stated: 0 of {of:g}.")
    row = stated_peak(result, name)
    if row is None:
        return Mark(name, "peak_pull", NAN, of, "Not judged: no pull was measured that stands by itself.")
    share, said = grade_error(row, rubric.tolerance.peak_pull)
    if not math.isfinite(share):
        return Mark(name, "peak_pull", NAN, of, f"Not judged: {said}.")
    return Mark(name, "peak_pull", of * share, of, f"{said}: {of:g} × {share:.2f} = {of * share:.1f}.")


def mark_accuracy(result: ResultFile, name: str, rubric: Rubric) -> Mark:
    """The computed forecast: mean over its quantities, each by its error against the tolerance."""
    of = rubric.weights.accuracy
    if result.forecast is None:
        return Mark(name, "accuracy", 0.0, of, f"Nothing was computed from a forecast: 0 of {of:g}.")
    graded = [(row, *grade_error(row, rubric.tolerance.accuracy)) for row in computed_rows(result, name)]
    judged = [(row, share, said) for row, share, said in graded if math.isfinite(share)]
    if not judged:
        return Mark(name, "accuracy", NAN, of, "Not judged: nothing was measured that the forecast can be held to.")
    mean = sum(share for _, share, _ in judged) / len(judged)
    each = "; ".join(f"{row.quantity}: {said}, {share:.2f}" for row, share, said in judged)
    return Mark(name, "accuracy", of * mean, of, f"{each}. {of:g} × mean {mean:.2f} = {of * mean:.1f}.")


def mark_honesty(result: ResultFile, name: str, rubric: Rubric) -> Mark:
    """Whether errors are as large as stated: full points where their spread is one that honest statements give.

    Notes
    -----
    For n honest statements the sum of (E/u_val)² follows χ² with n degrees of freedom; full points inside its central
    95 %. Beyond it points fall along the logarithm of the factor by which the spread lies outside, to none at
    ``none_factor``. Statements so wide that no run could contradict them earn nothing, by their share.
    Checked by: tests/marking/test_parts.py::test_honest_statements_earn_full_points_in_95_per_cent
    """
    from scipy.stats import chi2  # slow to load

    of = rubric.weights.honesty
    rows = scored_rows(result, name)
    if not rows:
        compared = computed_rows(result, name) or stated_peak(result, name) is not None
        if not compared:
            return Mark(name, "honesty", NAN, of, "Not judged: nothing that was forecast could be measured.")
        return Mark(name, "honesty", 0.0, of, f"No uncertainty was stated: 0 of {of:g}.")
    n = len(rows)
    rms = math.sqrt(sum(row.zeta**2 for row in rows) / n)
    low, high = (math.sqrt(float(chi2.ppf(p, n)) / n) for p in (0.025, 0.975))
    blunt = sum(_is_blunt(row) for row in rows)
    factor = max(1.0, rms / high, low / rms if rms > 0 else rubric.honesty.none_factor)
    share = max(0.0, 1.0 - math.log(factor) / math.log(rubric.honesty.none_factor)) * (1.0 - blunt / n)
    inside = sum(abs(row.zeta) <= K_95 for row in rows)
    way = "over-confident" if rms > high else ("under-confident" if rms < low else "honest")
    told = (
        f"{inside} of {n} lie within their 95 % interval; rms of E/u_val {rms:.2f}, honest statements give {low:.2f} "
        f"to {high:.2f}: {way}"
    )
    wide = f"; {blunt} of {n} stated too widely to be contradicted" if blunt else ""
    outside = f", a factor {factor:.2f} outside" if factor > 1 else ""
    said = f"{told}{outside}{wide}. {of:g} × {share:.2f} = {of * share:.1f}."
    return Mark(name, "honesty", of * share, of, said)


def mark_verdict(result: ResultFile, name: str, rubric: Rubric) -> Mark:
    """Whether the machine that was given the better chance has won."""
    of = rubric.weights.verdict
    chance, _ = stated_chance(result, name)
    won = win_probability(result, name)
    if not math.isfinite(won):
        return Mark(name, "verdict", NAN, of, say_unjudged(result))
    if not math.isfinite(chance) or chance == 0.5:
        return Mark(name, "verdict", 0.0, of, f"No winner was named: 0 of {of:g}.")
    right = won if chance > 0.5 else 1.0 - won
    named = f"{name} was expected {'to win' if chance > 0.5 else 'not to win'}"
    as_run = f"{'right' if right > 0.5 else 'wrong'} with a probability of {max(right, 1 - right):.3g}"
    return Mark(name, "verdict", of * right, of, f"{named}, {as_run}: {of:g} × {right:.3g} = {of * right:.1f}.")


def mark_cause(result: ResultFile, name: str, rubric: Rubric) -> Mark:
    """Whether what was named beforehand is what came: its probability among the causes, or that it was seen."""
    of = rubric.weights.cause
    stated = result.stated.get(name)
    named = stated.failure_named if stated is not None else None
    if result.causes_due:
        return Mark(name, "cause", NAN, of, "Not judged: causes are still being sought, or were left for later.")
    if not result.causes and not result.events:
        return Mark(name, "cause", NAN, of, "Not judged: neither causes nor events were found out.")
    if named is None:
        return Mark(name, "cause", 0.0, of, f"No failure was named beforehand: 0 of {of:g}.")
    own = [row for row in result.causes if _tells_of(row, name, named, nobodys=_is_nobodys(result, named))]
    by_cause = sum(row.probability or 0.0 for row in own)
    kinds = SHOWN_BY.get(named, ())
    seen = [e for e in result.events if e.kind in kinds and e.machine in ("", name)]
    first = max(seen, key=lambda event: event.probability or 0.0, default=None)
    by_event = 0.0 if first is None else (first.probability or 0.0)
    share = max(by_cause, by_event)
    if first is not None and by_event >= by_cause:
        shown = f"{first.kind} was seen at {first.start_s:.2f} s with a probability of {by_event:.2f}"
    else:
        shown = f"among the causes it has a probability of {by_cause:.2f}{_say_joined(own)}"
    return Mark(
        name, "cause", of * share, of, f'"{named}" was named; {shown}: {of:g} × {share:.2f} = {of * share:.1f}.'
    )


def grade_error(row: Answered, tolerance: Tolerance) -> tuple[float, str]:
    """Share of the points for one quantity (NaN: cannot be judged), and the sum as words.

    What the measurement itself may be off by, U = 2u, is taken off the error first: no team is to blame for it. Where U
    alone reaches over the whole of the tolerance, nothing is judged.
    """
    allowed = K_EXPANDED * row.u_measured
    predicted = format_interval(row.predicted, row.u_predicted, _shown(row.unit))
    measured = format_interval(row.measured, row.u_measured, _shown(row.unit))
    said = f"predicted {predicted}, measured {measured}"
    if not row.size > 0 or allowed >= tolerance.none_ratio * row.size:
        return NAN, f"{row.quantity} was not measured closely enough ({said})"
    ratio = max(0.0, abs(row.error) - allowed) / row.size
    share = (tolerance.none_ratio - ratio) / (tolerance.none_ratio - tolerance.full_ratio)
    share = float(np.clip(share, 0.0, 1.0))
    return share, f"{said}; beyond the measurement's own U the error is {100 * ratio:.1f} % of {_size(row)}"


def total(marks: Sequence[Mark]) -> float:
    """Points in per cent of those that could be judged; NaN where none could."""
    judged = [mark for mark in marks if math.isfinite(mark.points)]
    possible = sum(mark.of for mark in judged)
    return 100.0 * sum(mark.points for mark in judged) / possible if possible > 0 else NAN


def _is_blunt(row: Answered) -> bool:
    return K_EXPANDED * row.u_predicted > BLUNT_RATIO * row.size


def _tells_of(row: CauseBrief, name: str, named: str, *, nobodys: bool) -> bool:
    """Whether a row says of a machine what its team named: alone, or as one of the causes that it joins by "+".

    Causes and machines stand in the same order, but a machine is told once, and a cause of ``nobodys`` has none. Where
    that leaves fewer machines than causes, any of them may be the one meant.
    """
    causes, machines = row.cause.split("+"), row.machine.split(", ")
    if named not in causes:
        return False
    if named in OF_OTHERS:
        told = machines[causes.index(named)] if len(causes) == len(machines) else row.machine
        return told != name
    if len(causes) == len(machines):
        return machines[causes.index(named)] in ("", name)
    return nobodys or "" in machines or name in machines


def _is_nobodys(result: ResultFile, named: str) -> bool:
    """Whether a cause is the rope's, and no machine's: a hitch is one's where it was seen which let go."""
    seen = any(event.kind in SHOWN_BY["hitch-released"] and event.machine for event in result.events)
    return named == "rope-longer" or (named == "hitch-released" and not seen)


def _say_joined(rows: Sequence[CauseBrief]) -> str:
    """How much of a cause's probability it has only together with others; nothing where it stands alone."""
    joined = [(row.cause.count("+") + 1, row.probability or 0.0) for row in rows if "+" in row.cause]
    together = sum(p for _, p in joined)
    if together < LEAST_SHOWN:
        return ""
    counts = " or ".join(_COUNTED.get(n, str(n)) for n in sorted({n for n, _ in joined}))
    part = "" if len(joined) == len(rows) else f"{together:.2f} of it "
    return f", {part}as one of {counts}"


def _chance_sums(chance: float, won: float) -> str:
    if abs(won - round(won)) < 0.005:
        return f"({chance:.2f} − {round(won)})²"
    return f"({won:.2f} × {1 - chance:.2f}² + {1 - won:.2f} × {chance:.2f}²)"


def _close(won: float) -> str:
    return f" as far as can be told ({format_chance(max(won, 1 - won))})"


def _size(row: Answered) -> str:
    return "the match" if row.unit == "s" else "its size"


def _shown(unit: str) -> str:
    return "" if unit == "1" else unit
