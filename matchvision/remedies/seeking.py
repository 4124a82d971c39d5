"""What would have won: each lever of the losing machine turned until the verdict turns."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.mechanics.fitted import FittedMatch
from matchvision.mechanics.match import MatchCourse
from matchvision.records.events import Grip
from matchvision.records.remedies import LeverPoint, Remedies, Remedy
from matchvision.records.results import Ruling, StageNote
from matchvision.records.sheet import Run
from matchvision.remedies import telling
from matchvision.remedies.levers import Lever, levers_of
from matchvision.remedies.limiting import limits_over_run, steady_pull_N
from matchvision.remedies.winning import Rerun, rerun

#: The chance that a change has to reach.
ENOUGH: Final = 0.90
#: Samples for a first look at a setting and for narrowing it down; the answer takes all.
LOOK, NARROW = 12, 24
#: Halvings between the last setting that did not do and the first that did.
HALVINGS: Final = 3
#: A match of this length [s] may take all samples; of longer ones fewer are drawn, so that the work stays the same.
USUAL_S: Final = 10.0
SEED: Final = 20_260_302


@dataclass(frozen=True)
class Turned:
    """A lever's points, and the smallest setting that turns the verdict (None: none does)."""

    lever: Lever
    points: tuple[LeverPoint, ...]
    setting: float | None


def seek_remedies(
    run: Run, ruling: Ruling | None, grip: Grip | None, fitted: FittedMatch
) -> tuple[Remedies, StageNote]:
    """What the machine that lost would have needed to win.

    Parameters
    ----------
    run, ruling, grip : the sheet, who won, and the events (the contest begins with the first limit that was seen).
    fitted : the match refitted with its likeliest cause.

    Raises
    ------
    CannotMeasure
        Where nobody lost, where a mark decides, or where the fitted match does not end as the run did.

    Notes
    -----
    Each lever is turned alone, all else as fitted, the opponent included. A setting's chance is counted over samples of
    what the fit leaves open; the smallest one that reaches 90 % is narrowed down by halving and then counted over all.
    Checked by: tests/remedies/test_in_engine.py::test_the_proposed_change_turns_the_verdict_in_another_physics
    """
    k, measured, end_s = who_lost(run, ruling, fitted)
    machine = fitted.best.machines[k]
    needed_m = max(0.0, _beyond_half(run, fitted))
    played = rerun(fitted, k, measured, end_s, SEED, needed_m)
    look, narrow = (max(6, round(n * min(1.0, USUAL_S / end_s))) for n in (LOOK, NARROW))
    turned = [turn(run, played, lever, look, narrow) for lever in levers_of(machine)]
    remedies = [settle(run, played, one) for one in turned]
    if fitted.without_cause and fitted.machine in ("", machine.name):
        remedies.append(mend(run, played))
    remedies.sort(key=lambda remedy: (not math.isfinite(remedy.setting), remedy.size))
    limits = _limits(played, _contest_from(grip, end_s))
    told = Remedies(
        machine=machine.name,
        limits=limits,
        points=tuple(point for one in turned for point in one.points),
        remedies=tuple(remedies),
        sentence=telling.say_all(machine.name, limits, remedies),
        caveats=telling.caveats(played.gap_m, fitted, machine),
        samples=len(fitted.samples),
    )
    done = (
        f"The match refitted with its likeliest cause was played again with {machine.name} changed, one lever at a "
        f"time, for {len(fitted.samples)} draws of what the fit leaves open."
    )
    return told, StageNote("remedies", "done", f"{done} {told.sentence}")


def who_lost(run: Run, ruling: Ruling | None, fitted: FittedMatch) -> tuple[int, tuple[float, float], float]:
    """Number of the machine that lost, its lead with u [m], and when the rule was applied [s].

    Raises
    ------
    CannotMeasure
        Where nobody did, or where something else than the shares of the rope decides.
    """
    if ruling is None or ruling.winner is None or not math.isfinite(ruling.margin_m):
        raise CannotMeasure("nobody has lost")
    if run.sheet.rules.decide != "rope-share" or fitted.best.rope is None:
        raise CannotMeasure("what would have won is computed where the shares of the rope decide")
    names = [machine.name for machine in fitted.best.machines]
    if ruling.winner not in names or len(names) != 2:
        raise CannotMeasure("the winner is no machine of the fitted match")
    lead_m = -(ruling.margin_m + _beyond_half(run, fitted))
    return 1 - names.index(ruling.winner), (lead_m, ruling.u_margin_m), ruling.decided_at_s


def _beyond_half(run: Run, fitted: FittedMatch) -> float:
    """How much more of the rope than half of it the share to win is [m]; negative where less than half wins."""
    return 0.0 if fitted.best.rope is None else (run.sheet.rules.share_to_win - 0.5) * fitted.best.rope.length_m


def turn(run: Run, played: Rerun, lever: Lever, look: int, narrow: int) -> Turned:
    """Turn one lever through its settings, and find the smallest that turns the verdict."""
    points = tuple(_point(run, played, lever, setting, look) for setting in lever.settings)
    by_setting = {point.setting: point.win_chance for point in points}
    found = []
    below = [s for s in reversed(lever.settings) if s <= lever.neutral]
    above = [s for s in lever.settings if s >= lever.neutral]
    for way in (below, above):
        # The first setting away from the neutral one that reaches it; a look of a few draws never says quite 1.
        at = next((i for i, s in enumerate(way) if i > 0 and by_setting[s] >= min(ENOUGH, look / (look + 1.0))), None)
        if at is not None:
            found.append(_narrow(played, lever, (way[at - 1], way[at]), way[at:], narrow))
    reached = [setting for setting in found if setting is not None]
    return Turned(lever, points, min(reached, key=lever.size_of, default=None))


def _narrow(
    played: Rerun, lever: Lever, between: tuple[float, float], beyond: Sequence[float], narrow: int
) -> float | None:
    """The smallest setting that reaches the chance, to an eighth of a step or so, counted over all samples."""
    low, high = between
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if _chance(played, lever, middle, narrow) >= ENOUGH:
            high = middle
        else:
            low = middle
    step, last = (between[1] - between[0]) / 2**HALVINGS, beyond[-1]
    while _chance(played, lever, high, len(played.as_it_was_m)) < ENOUGH:
        if abs(high - lever.neutral) >= abs(last - lever.neutral):
            return None
        # All samples ask for more than the few did: ever larger steps, so that the work stays bounded.
        high, step = high + step, 2 * step
        high = min(high, last) if step > 0 else max(high, last)
    return high


def settle(run: Run, played: Rerun, turned: Turned) -> Remedy:
    """A lever's answer: the setting with its chance over all samples, or that none in its range does."""
    lever, machine = turned.lever, played.fitted.best.machines[played.k]
    if turned.setting is None:
        best = max(turned.points, key=lambda point: point.win_chance)
        statement = telling.say_none(run, machine, lever.name, lever.settings, best)
        return Remedy(lever.name, math.nan, math.inf, best.win_chance, math.nan, math.nan, statement)
    models = played.changed(lambda own: lever.turn(own, turned.setting or 0.0), len(played.as_it_was_m))
    chance = played.chance(played.leads_m(played.play(models)))
    statement = telling.say_change(run, machine, lever.name, turned.setting, chance, len(models))
    size = lever.size_of(turned.setting)
    return Remedy(lever.name, turned.setting, size, chance.value, chance.low, chance.high, statement)


def mend(run: Run, played: Rerun) -> Remedy:
    """What would have been without the failure that explained the run."""
    chance = played.chance(played.leads_m(played.play(played.fitted.without_cause)))
    enough = chance.value >= ENOUGH
    statement = telling.say_mended(run, played.fitted, played.k, chance)
    size = 0.0 if enough else math.inf
    return Remedy("mend", 0.0 if enough else math.nan, size, chance.value, chance.low, chance.high, statement)


def _chance(played: Rerun, lever: Lever, setting: float, count: int) -> float:
    models = played.changed(lambda own: lever.turn(own, setting), count)
    return float(np.mean(played.wins(played.leads_m(played.play(models)))))


def _point(run: Run, played: Rerun, lever: Lever, setting: float, count: int) -> LeverPoint:
    models = played.changed(lambda own: lever.turn(own, setting), count)
    courses = played.play(models)
    home, g = played.fitted.home_side(played.k), played.fitted.best.gravity_m_s2
    pulls, words = zip(*(steady_pull_N(model.machines[played.k], g) for model in models), strict=True)
    speeds = [
        home * float(c.machines[played.k].x_m[-1] - c.machines[played.k].x_m[0]) / played.end_s
        for c in courses if c is not None
    ]  # fmt: skip
    return LeverPoint(
        lever=lever.name,
        setting=setting,
        value=telling.value_of(run, played.fitted.best.machines[played.k], lever.name, setting),
        unit=telling.UNITS[lever.name],
        pull_N=float(np.mean(pulls)),
        u_pull_N=float(np.std(pulls, ddof=1)),
        limit=max(set(words), key=words.count),
        speed_m_s=float(np.mean(speeds)) if speeds else math.nan,
        u_speed_m_s=float(np.std(speeds, ddof=1)) if len(speeds) > 1 else math.nan,
        win_chance=played.chance(played.leads_m(courses)).value,
    )


def _limits(played: Rerun, from_s: float) -> tuple[tuple[str, float], ...]:
    """What limited the machine's pull from the contest's beginning on, over a few samples."""
    models = played.fitted.samples[:NARROW]
    pairs: list[tuple[int, MatchCourse]] = [
        (i, course) for i, course in enumerate(played.play(models)) if course is not None
    ]
    t_s = pairs[0][1].t_s
    inside = t_s >= from_s
    shares = limits_over_run(
        [models[i].machines[played.k] for i, _ in pairs],
        [course.machines[played.k] for _, course in pairs],
        [course.tension_N for _, course in pairs],
        t_s,
        inside,
    )
    return tuple(sorted(shares, key=lambda pair: -pair[1]))


def _contest_from(grip: Grip | None, end_s: float) -> float:
    """When the first limit was seen; without any, the start."""
    kinds = ("slip", "spin", "dragged", "stall", "held", "anchor-creep", "dislodged", "drive-loss")
    seen = [e.start_s for e in (grip.events if grip is not None else ()) if e.kind in kinds and 0 <= e.start_s < end_s]
    return min(seen, default=0.0)
