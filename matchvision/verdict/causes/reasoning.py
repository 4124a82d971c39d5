"""Causes of a run as rows for people: explanations refitted to what was measured, with probabilities and sentences."""

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.mechanics.guessing import find_known, guess_opponent
from matchvision.mechanics.machine import MatchModel
from matchvision.mechanics.stated import Findings, check_machine, stated_numbers
from matchvision.records.events import Event, Grip
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.results import CauseRow
from matchvision.records.sheet import Drive, Forecast, Run, StartPose
from matchvision.uncertainty import format_chance, format_interval
from matchvision.verdict.causes.by_comparison import FALSE_ALARM
from matchvision.verdict.causes.locating import locate
from matchvision.verdict.causes.picturing import show_explained
from matchvision.verdict.causes.refits.observing import observe
from matchvision.verdict.causes.refits.operating import moments_until
from matchvision.verdict.causes.refits.playing import Forecasted
from matchvision.verdict.causes.saying import say, say_briefly, size_of, within
from matchvision.verdict.causes.search.explaining import explain
from matchvision.verdict.causes.weighing import Weighed, weigh

#: Explanations below this are not told one by one.
LEAST_TOLD: Final = 0.005
#: What is at least this likely is told beside the likeliest, in its sentence.
LIKELY_TOO: Final = 0.2
#: A variant of a cause that has less than this share of its chance is not told for certain.
SURE_VARIANT: Final = 0.95
#: Of a shorter span before the rope came off nothing is explained [s].
LEAST_SPAN_S: Final = 0.5
#: A machine is said to have stood still below this [m/s], where something may have stopped it.
STANDING_M_S: Final = 0.005
#: What shows in where a machine goes, whoever operates it.
SEEN_OF_ANYONE: Final = ("less-grip", "slippery-stretch", "rough-stretch", "blocked", "turned")
NAN: Final = math.nan


def reason(
    run: Run,
    motion: Motion,
    pull: Pull | None,
    grip: Grip | None,
    clock: MatchClock,
    starts: Mapping[str, StartPose],
) -> tuple[CauseRow, ...]:
    """Every explanation that is not next to impossible, likeliest first; the probabilities of all add to 1.

    Raises
    ------
    CannotMeasure
        Where the run cannot be explained through the match's mechanics: no machines' numbers, or too little measured.
    """
    until_s = min(clock.duration_s, float(clock.match_time(motion.clip_s)[-1]))
    forecasted = forecast_of(run, starts, until_s)
    model = forecasted.match(np.zeros(forecasted.numbers))
    loss = _first(grip, "rope-off")
    if loss is not None:
        # From then on nobody pulls at anything, and operators switch off: it says nothing of the machines.
        until_s = min(until_s, loss.start_s)
        if until_s < LEAST_SPAN_S:
            raise CannotMeasure(f"the rope came off {until_s:.2f} s after the start, too soon for more than that")
    observed = observe(run, motion, pull, clock, forecasted.names, until_s)
    if not any(series.what == "speed" for series in observed.series):
        raise CannotMeasure("no machine's speed was measured during the match", do="put two markers on each machine")
    unknown = tuple(name for name in forecasted.names if run.sheet.machine[name].unknown)
    paths, ends = machine_paths(motion, clock, model)
    explanations = explain(model, unknown, until_s, paths, ends)
    # Whose numbers and throttle are guessed, of them nothing was said that could be otherwise.
    explanations = tuple(e for e in explanations if e.machine not in forecasted.unplanned or e.cause in SEEN_OF_ANYONE)
    if loss is not None:
        explanations = tuple(e for e in explanations if e.cause != "hitch-released")
    touch = _first(grip, "touch")
    touched_s = (touch.start_s, touch.end_s) if touch is not None else None
    logged = replace(forecasted, run=as_logged(forecasted.run)) if run.commands else None
    weighed = weigh(forecasted, observed, explanations, touched_s, logged, seen_stopped(grip, until_s))
    rows = rows_of(locate(weighed, forecasted, logged, motion, clock, until_s), touch, tuple(run.commands))
    curves = show_explained(forecasted, logged, observed, leading_variant(weighed, rows[0]))
    rows = rows if loss is None else let_go(rows, loss)
    return (replace(rows[0], curves=curves), *rows[1:])


def forecast_of(run: Run, starts: Mapping[str, StartPose], until_s: float) -> Forecasted:
    """The forecast's match for the rope's two machines, until some match time [s].

    An opponent of whom nothing is stated is a wide guess: a machine like its rival, its throttle anything.

    Raises
    ------
    CannotMeasure
        Where numbers or starts are missing.
    """
    rope = run.sheet.rope
    if rope is None or run.curves or not run.sheet.forecast:
        msg = "causes are weighed where the sheet has a rope and the machines' numbers"
        raise CannotMeasure(msg, do="add [rope] and, for each machine, [forecast.X]")
    guess, guessed = guess_opponent(run)
    unplanned = {}
    if guessed:
        known = find_known(run, rope.ends)
        other = next(name for name in rope.ends if name != known)
        planned = run.sheet.forecast.get(other)
        if other not in run.commands and (planned is None or not planned.throttle):
            unplanned = {other: moments_until(until_s)}
        run = guess
    findings = Findings()
    for name in rope.ends:
        if name not in run.sheet.machine:
            findings.missing.append(f"[machine.{name}]")
            continue
        check_machine(run, name, findings)
        if name not in starts:
            findings.missing.append(f"[machine.{name}] start, as the clip does not show where {name} stood")
    findings.refuse_gaps()
    return Forecasted(run, rope.ends, starts, stated_numbers(run, rope.ends), unplanned)


def as_logged(run: Run) -> Run:
    """The run with each logged command in the place of the plan; left and right shares count as their mean."""
    sheet = run.sheet
    for name, logged in run.commands.items():
        plan = tuple(
            (float(t), float(share)) for t, share in zip(logged[:, 0], logged[:, 1:].mean(axis=1), strict=True)
        )
        planned, drive = sheet.forecast.get(name), sheet.machine[name].drive
        if planned is not None:
            told = planned.model_copy(update={"throttle": plan, **_sides_without_plan(planned)})
            sheet = sheet.model_copy(update={"forecast": {**sheet.forecast, name: told}})
        if drive is not None:
            machine = sheet.machine[name].model_copy(update={"drive": drive.model_copy(update={"throttle": plan})})
            sheet = sheet.model_copy(update={"machine": {**sheet.machine, name: machine}})
    return replace(run, sheet=sheet)


def _sides_without_plan(planned: Forecast) -> dict[str, Drive]:
    sides = {"left": planned.left, "right": planned.right}
    return {side: own.model_copy(update={"throttle": ()}) for side, own in sides.items() if own is not None}


def rows_of(weighed: tuple[Weighed, ...], touch: Event | None, logged: tuple[str, ...] = ()) -> tuple[CauseRow, ...]:
    """One row a cause and machine: chances of its variants added, size and date over them all."""
    together: dict[tuple[str, str], list[Weighed]] = defaultdict(list)
    for one in weighed:
        together[_name(one)].append(one)
    rows = []
    second = _second(together)
    for (cause, machine), variants in together.items():
        probability = sum(v.probability for v in variants)
        if probability < LEAST_TOLD and cause not in ("as-predicted", "unexplained"):
            continue
        best = _merge(variants)
        size, u_size, unit = size_of(best) if best.beside is None else (NAN, NAN, "")
        dated = best.explanation is not None and best.explanation.dated and best.beside is None
        since_s = best.at[0] if dated else (touch.start_s if cause == "touched" and touch else NAN)
        otherwise = second.instead if (cause, machine) == second.of else ""
        statement = say(cause, best, probability, touch, otherwise)
        if cause == "command-changed" and len(logged) == 1:
            machine = logged[0]
        rows.append(CauseRow(cause, machine, probability, size, u_size, unit, since_s, statement))
    return tuple(sorted(rows, key=lambda row: -row.probability))


class _Second(NamedTuple):
    """The likeliest cause's name, and what may as well have been instead of it ("" where nothing else is likely)."""

    of: tuple[str, str]
    instead: str


def _second(together: Mapping[tuple[str, str], list[Weighed]]) -> _Second:
    chances = {name: sum(v.probability for v in variants) for name, variants in together.items()}
    order = sorted(chances, key=lambda name: -chances[name])
    if len(order) < 2 or chances[order[1]] < LIKELY_TOO:
        return _Second(order[0], "")
    return _Second(order[0], say_briefly(order[1][0], _merge(together[order[1]]), chances[order[1]]))


def let_go(rows: tuple[CauseRow, ...], loss: Event) -> tuple[CauseRow, ...]:
    """The same rows where the rope was seen to come off: what explains the run until then, and that it came off.

    How likely it came off is said by the event, and by nothing until then: each row is told with it and without, but
    for the unexplained, of which nothing is known.
    """
    seen = min(loss.probability, 1.0 - FALSE_ALARM)
    since = f"{format_interval(loss.start_s, loss.u_start_s, 's')} (95 %)"
    whose = f"The rope left the hitch of {loss.machine} at {since}" if loss.machine else f"The rope came off at {since}"
    out = []
    for row in rows:
        until_then = f"{whose}, {format_chance(seen)}, and until then {within(row.statement)}"
        if row.cause == "unexplained":
            out.append(replace(row, since_s=loss.start_s, statement=until_then))
            continue
        chance = seen * row.probability
        if row.cause == "as-predicted":
            seen_as = f" Seen: {loss.evidence.rstrip('.')}." if loss.evidence else ""
            said = f"{until_then.rstrip('.')}.{seen_as}"
            own = (chance, loss.start_s, loss.u_start_s, "s", loss.start_s, said)
            left = row.probability - chance
            plain = f"The rope did not come off, and it went as predicted, {format_chance(left)}."
            out += [
                CauseRow("hitch-released", loss.machine, *own),
                replace(row, probability=left, statement=plain),
            ]
            continue
        both = ", ".join(dict.fromkeys(name for name in (loss.machine, row.machine) if name))
        out.append(
            replace(row, cause=f"hitch-released+{row.cause}", machine=both, probability=chance, statement=until_then)
        )
        alone = row.probability - chance
        if alone > LEAST_TOLD:
            kept = f"The rope did not come off, {format_chance(alone)}: {within(row.statement)}"
            out.append(replace(row, probability=alone, statement=kept))
    return tuple(sorted(out, key=lambda row: -row.probability))


def leading_variant(weighed: tuple[Weighed, ...], row: CauseRow) -> Weighed:
    """The likeliest of a cause's variants."""
    same = [one for one in weighed if _name(one)[0] == row.cause]
    return max(same, key=lambda one: (_name(one)[1] == row.machine, one.probability))


def _name(one: Weighed) -> tuple[str, str]:
    """Cause and machine of an explanation; of two, both causes and all machines; a hand is one, whatever it did."""
    if one.cause == "touched":
        return one.cause, ""
    machine = one.explanation.machine if one.explanation else ""
    if one.beside is None:
        return one.cause, machine
    other = one.beside.explanation.machine if one.beside.explanation else ""
    return f"{one.cause}+{one.beside.cause}", ", ".join(dict.fromkeys(name for name in (machine, other) if name))


def _merge(variants: list[Weighed]) -> Weighed:
    """The likeliest variant; where others are as good as possible, sizes and dates with the spread over them."""
    best = max(variants, key=lambda v: v.probability)
    total = sum(v.probability for v in variants)
    if (
        len(variants) == 1
        or best.explanation is None
        or best.beside is not None
        or best.probability > SURE_VARIANT * total
    ):
        return best
    shares = [v.probability / total for v in variants]

    def over(values: list[float], us: list[float]) -> tuple[float, float]:
        mean = sum(w * value for w, value in zip(shares, values, strict=True))
        return mean, math.sqrt(
            sum(w * (u**2 + (value - mean) ** 2) for w, value, u in zip(shares, values, us, strict=True))
        )

    size, u_size = over([v.size for v in variants], [v.u_size for v in variants])
    ats = [over([v.at[i] for v in variants], [v.u_at[i] for v in variants]) for i in range(len(best.at))]
    unclear = replace(best.explanation, detail="left, right or both sides")
    return replace(
        best,
        explanation=unclear,
        size=size,
        u_size=u_size,
        ends=(NAN, NAN),
        at=tuple(at for at, _ in ats),
        u_at=tuple(u for _, u in ats),
    )


def _first(grip: Grip | None, kind: str) -> Event | None:
    found = [event for event in grip.events if event.kind == kind] if grip is not None else []
    return min(found, key=lambda event: event.start_s) if found else None


def seen_stopped(grip: Grip | None, until_s: float) -> dict[str, float]:
    """Machines that were seen to stand against something in their way, and how surely."""
    blocked = [e for e in grip.events if e.kind == "blocked" and e.start_s < until_s] if grip is not None else []
    return {name: max(e.probability for e in blocked if e.machine == name) for name in {e.machine for e in blocked}}


def machine_paths(
    motion: Motion, clock: MatchClock, model: MatchModel
) -> tuple[list[tuple[float, float]], list[float | None]]:
    """Over which x each machine's contact points went, and where each stood still nearest to its home."""
    t_s = clock.match_time(motion.clip_s)
    paths: list[tuple[float, float]] = []
    ends: list[float | None] = []
    for machine, start in zip(model.machines, model.starts, strict=True):
        moved = motion.machines.get(machine.name)
        half_m = machine.wheelbase_m / 2
        if moved is None:
            paths.append((start.x_m - half_m, start.x_m + half_m))
            ends.append(None)
            continue
        during = (t_s >= 0) & (t_s <= clock.duration_s) & np.isfinite(moved.x_m)
        x = moved.x_m[during]
        paths.append((float(x.min()) - half_m, float(x.max()) + half_m) if len(x) else (start.x_m, start.x_m))
        still = during & (np.abs(moved.speed_m_s) < STANDING_M_S) & (t_s > 0.5)
        away_m = np.abs(moved.x_m[still] - start.x_m)
        way = np.sign(np.cos(start.heading_rad))
        homewards = moved.x_m[still][(away_m > 0.02) & (np.sign(moved.x_m[still] - start.x_m) == way)]
        ends.append(float(way * np.max(way * homewards)) if len(homewards) else None)
    return paths, ends
