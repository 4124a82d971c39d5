"""Why it went as it went: explanations with probabilities, from how far measured and predicted lie apart."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.records.events import Event, Grip
from matchvision.records.results import CauseRow
from matchvision.uncertainty import format_chance, format_interval
from matchvision.verdict.comparing import Compared

#: Where something else was at work, comparison errors are taken this many u_val wide, beyond their own one.
BROAD: Final = 3.0
#: Probability of "as predicted" before looking.
PRIOR: Final = 0.5
#: An event that explains a run by itself is seen by mistake this often.
FALSE_ALARM: Final = 0.01
#: Rows that count as evidence, one a group: the others of a group say nearly the same.
GROUPS: Final = ("place", "pull", "slip", "speed")


def weigh_causes(compared: Sequence[Compared], grip: Grip | None) -> tuple[CauseRow, ...]:
    """Explanations by probability: as predicted, unexplained, and a hitch that let go where that was seen.

    Empty where nothing was predicted, or so loosely that no comparison could have told, unless the hitch let go.

    Notes
    -----
    Normalised errors z = E/u_val of one row a group. As predicted: z is normal with variance 1. Unexplained: normal
    with variance 1 + 9 (something moved them by about three u_val). The Bayes factor of the two is
    ``∏ √(1 + k²) exp(−z²/2 · k²/(1 + k²))``, k = 3; prior ½ each. A rope end seen to leave its hitch adds a third
    explanation with the broad errors; the event itself is a hundred times as likely under it as by a false alarm.
    Checked by: tests/verdict/causes/test_by_comparison.py::test_bayes_factor_of_one_error
    """
    evidence = choose_evidence(compared)
    loss = _first_loss(grip)
    if not evidence and (loss is None or not compared):
        return ()
    z = np.array([c.row.error / c.row.u_validation for c in evidence])
    log_narrow = math.log(PRIOR) - 0.5 * float(z @ z)
    log_broad = -0.5 * float(z @ z) / (1 + BROAD**2) - 0.5 * len(z) * math.log(1 + BROAD**2)
    names, logs = ["as-predicted", "unexplained"], [log_narrow, math.log(1 - PRIOR) + log_broad]
    if loss is not None:
        odds = math.log(max(loss.probability, FALSE_ALARM))
        names.append("hitch-released")
        logs = [value + math.log(FALSE_ALARM) for value in logs] + [math.log(1 - PRIOR) + log_broad + odds]
    chances = np.exp(np.array(logs) - max(logs))
    chances /= chances.sum()
    worst = evidence[int(np.argmax(np.abs(z)))] if evidence else None
    told = say_worst(worst, len(evidence)) if worst else "no quantity was predicted closely enough to tell."
    contradicted = [c.row.quantity for c in compared if c.row.within == "no" and not math.isfinite(c.row.error)]
    also = f" Seen on one side only: {', '.join(contradicted)}." if contradicted else ""
    likeliest = names[int(np.argmax(chances))]
    rows = []
    for name, chance in zip(names, chances, strict=True):
        p = float(chance)
        nothing = (math.nan, math.nan, "", math.nan)
        why = f": {told}{also}" if name == likeliest or likeliest == "hitch-released" else "."
        if name == "as-predicted":
            statement = f"It went as predicted, {format_chance(p)}{why}"
            rows.append(CauseRow(name, "", p, *nothing, statement))
        elif name == "unexplained":
            statement = f"Something that was not predicted was at work, {format_chance(p)}{why}"
            if worst is None:
                rows.append(CauseRow(name, "", p, *nothing, statement))
                continue
            row = worst.row
            rows.append(CauseRow(name, worst.machine, p, row.error, row.u_validation, row.unit, math.nan, statement))
        elif loss is not None:
            since = f"{format_interval(loss.start_s, loss.u_start_s, 's')} (95 %)"
            statement = f"The rope left the hitch of {loss.machine} at {since}, {format_chance(p)}: {loss.evidence}"
            rows.append(CauseRow(name, loss.machine, p, loss.start_s, loss.u_start_s, "s", loss.start_s, statement))
    return tuple(sorted(rows, key=lambda row: -row.probability))


def choose_evidence(compared: Sequence[Compared]) -> tuple[Compared, ...]:
    """One row for each group and, of slip, one for each machine: those that are not said already by another row.

    Rows that were too blunt to notice an error are no evidence: agreeing costs them nothing.
    The whole rope's place stands for the machines' distances and mean speeds, which a taut rope ties together; but not
    where all of the rope was predicted to lie on one side, whose end is a limit without an uncertainty.
    """
    usable = [
        c
        for c in compared
        if c.group in GROUPS
        and c.row.within != "inconclusive"
        and math.isfinite(c.row.error)
        and math.isfinite(c.row.u_validation)
        and c.row.u_validation > 0
    ]
    chosen = []
    for group in GROUPS:
        rows = [c for c in usable if c.group == group]
        if group == "slip":
            chosen.extend(rows)
        elif rows:
            chosen.append(next((c for c in rows if c.machine == "" and c.row.u_predicted > 0), rows[0]))
    return tuple(chosen)


def say_worst(worst: Compared, count: int) -> str:
    """The largest disagreement as a sentence."""
    row = worst.row
    times = abs(row.error) / row.u_validation
    unit = "" if row.unit == "1" else row.unit
    predicted = format_interval(row.predicted, row.u_predicted, unit)
    measured = format_interval(row.measured, row.u_measured, unit)
    among = f"of {count} quantities the" if count > 1 else "the"
    return (
        f"{among} largest disagreement is in the {row.quantity}: predicted {predicted}, measured {measured} (95 %), "
        f"{times:.1f} times their combined uncertainty apart."
    )


def _first_loss(grip: Grip | None) -> Event | None:
    losses = [e for e in grip.events if e.kind == "rope-off"] if grip is not None else []
    return min(losses, key=lambda e: e.start_s) if losses else None
