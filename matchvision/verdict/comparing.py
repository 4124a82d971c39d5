"""Measured against predicted, quantity by quantity, by published rules."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.events import Grip
from matchvision.records.forecast import ForecastMachine, ForecastRun
from matchvision.records.motion import MachineMotion, MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.results import ComparisonRow, Ruling
from matchvision.records.sheet import Run
from matchvision.uncertainty import window_mean
from matchvision.uncertainty.scoring import K_EXPANDED, en_score, validation_uncertainty
from matchvision.verdict.reading import read_at

#: Peaks are those of means over this long, predicted and measured alike: a single frame's noise is no peak.
PEAK_OVER_S: Final = 0.2
#: A comparison that could not have noticed an error of this share of the quantity's scale says nothing.
BLUNT_RATIO: Final = 0.5
#: A way counts as at least this share of the table's length: next to nothing is no size to measure errors by.
LEAST_WAY_RATIO: Final = 0.025
#: A stated chance below this of what then happened counts against the forecast; no single run speaks for it.
UNLIKELY: Final = 0.05
SLIP_KINDS: Final = ("slip", "spin", "dragged")
NAN = math.nan


@dataclass(frozen=True)
class Compared:
    """A row with what it is about: rows of one ``group`` say nearly the same and must not count twice as evidence."""

    group: str
    machine: str
    row: ComparisonRow


def compare_quantity(
    quantity: str,
    unit: str,
    predicted: tuple[float, float],
    measured: tuple[float, float],
    scale: float,
    *,
    machine: str = "",
    phase: str = "",
) -> ComparisonRow:
    """A row of the comparison: value and standard uncertainty on both sides, and whether they agree.

    "no" where |E_n| > 1. Where |E_n| ≤ 1 it is "yes", but "inconclusive" where the expanded validation uncertainty
    exceeds half of ``scale`` (the quantity's own size): with a large uncertainty a small E_n is easy and says nothing.

    Notes
    -----
    E = predicted − measured and u_val: ASME V&V 20-2009; E_n: ISO 13528, with U = 2u.
    Checked by: tests/verdict/test_comparing.py::test_blunt_comparison_is_inconclusive
    """
    error = predicted[0] - measured[0]
    u_val = float(validation_uncertainty(predicted[1], measured[1]))
    en = NAN
    within = "inconclusive"
    if math.isfinite(error) and math.isfinite(u_val) and u_val > 0:
        en = float(en_score(predicted[0], K_EXPANDED * predicted[1], measured[0], K_EXPANDED * measured[1]))
        if abs(en) > 1:
            within = "no"
        elif K_EXPANDED * u_val <= BLUNT_RATIO * abs(scale):
            within = "yes"
    return ComparisonRow(
        quantity, unit, *predicted, *measured, error, u_val, en, within, phase=phase, machine=machine, scale=abs(scale)
    )


def compare_run(
    run: Run,
    motion: Motion,
    pull: Pull | None,
    grip: Grip | None,
    clock: MatchClock,
    forecast: ForecastRun | None,
    ruling: Ruling | None,
) -> tuple[Compared, ...]:
    """Every quantity that was both predicted and measured, over the time that both cover."""
    rows: list[Compared] = []
    if forecast is not None:
        for name, predicted in forecast.machines.items():
            moved = motion.machines.get(name)
            if moved is not None:
                rows.extend(_compare_machine(run, motion, clock, forecast, predicted, moved))
            if grip is not None:
                rows.extend(_compare_slip(run, motion, grip, clock, predicted))
        rows.extend(_compare_pull(motion, pull, clock, (forecast.t_s, forecast.tension_N, forecast.u_tension_N)))
        if motion.rope is not None:
            rows.extend(_compare_rope(run, motion, clock, forecast))
        rows.extend(_compare_chances(dict(forecast.win_chance), ruling, ""))
    stated = {n: f.win_chance for n, f in run.sheet.forecast.items() if f.win_chance is not None}
    rows.extend(_compare_chances(stated, ruling, ", as stated"))
    for name, planned in run.sheet.forecast.items():
        measured = measured_peak_pull(motion, pull, clock)
        if planned.peak_pull_N is not None and measured is not None:
            value = (planned.peak_pull_N.value, planned.peak_pull_N.u)
            row = compare_quantity(f"peak pull, as stated by {name}", "N", value, measured, measured[0])
            rows.append(Compared("stated", name, row))
    return tuple(replace(c, row=replace(c.row, machine=c.machine)) for c in rows)


def measured_peak_pull(motion: Motion, pull: Pull | None, clock: MatchClock) -> tuple[float, float] | None:
    """Greatest 0.2 s mean of the independent tension during the match, and its u; None where there is none."""
    fused = pull.source("fused") if pull is not None else None
    if fused is None or not fused.independent:
        return None
    t_s = clock.match_time(motion.clip_s)
    return find_peak(fused.tension_N, fused.u_tension_N, t_s, clock.duration_s)


def find_peak(values: FloatArray, u_values: FloatArray, t_s: FloatArray, end_s: float) -> tuple[float, float] | None:
    """Greatest 0.2 s mean between 0 and ``end_s`` with the u there (not averaged down); None without values."""
    means = window_mean(values, t_s, PEAK_OVER_S)
    during = (t_s >= 0) & (t_s <= end_s) & np.isfinite(means) & np.isfinite(u_values)
    if not during.any():
        return None
    peak = int(np.flatnonzero(during)[np.argmax(means[during])])
    return float(means[peak]), float(u_values[peak])


def _end_of_both(motion: Motion, clock: MatchClock, forecast: ForecastRun) -> float:
    last_s = float(clock.match_time(motion.clip_s)[-1])
    return float(min(clock.duration_s, last_s, forecast.t_s[-1]))


def _compare_machine(
    run: Run,
    motion: Motion,
    clock: MatchClock,
    forecast: ForecastRun,
    predicted: ForecastMachine,
    moved: MachineMotion,
) -> Iterator[Compared]:
    name, t_s = moved.machine, clock.match_time(motion.clip_s)
    side = 1.0 if run.sheet.machine[name].home == "+x" else -1.0
    end_s = _end_of_both(motion, clock, forecast)
    told = []
    for x_m, u_x_m, time_s in (
        (predicted.x_m, predicted.u_x_m, forecast.t_s),
        (moved.x_m, moved.u_x_m, t_s),
    ):
        (start_m, u_start_m), (final_m, u_final_m) = (read_at(x_m, u_x_m, time_s, at) for at in (0.0, end_s))
        told.append((side * (final_m - start_m), math.hypot(u_start_m, u_final_m)))
    scale_m = max(abs(told[1][0]), LEAST_WAY_RATIO * run.sheet.table.length_m)
    row = compare_quantity(f"distance towards home, {name}", "m", told[0], told[1], scale_m)
    yield Compared("place", name, row)
    if end_s > 0:
        mean = [(distance / end_s, u / end_s) for distance, u in told]
        row = compare_quantity(f"mean speed towards home, {name}", "m/s", mean[0], mean[1], scale_m / end_s)
        yield Compared("place", name, row)
    peaks = (
        find_peak(np.abs(predicted.speed_m_s), predicted.u_speed_m_s, forecast.t_s, end_s),
        find_peak(np.abs(moved.speed_m_s), moved.u_speed_m_s, t_s, end_s),
    )
    if peaks[0] is not None and peaks[1] is not None:
        row = compare_quantity(f"peak speed, {name}", "m/s", peaks[0], peaks[1], peaks[1][0])
        yield Compared("speed", name, row)


def _compare_slip(
    run: Run, motion: Motion, grip: Grip, clock: MatchClock, predicted: ForecastMachine
) -> Iterator[Compared]:
    """First slip; where only one side has any, "no" if the other was sure of the contrary."""
    name = predicted.machine
    if not any(w.machine == name and w.driven for w in motion.wheels):
        return
    events = [e for e in grip.events if e.machine == name and e.kind in SLIP_KINDS and e.start_s <= clock.duration_s]
    quantity = f"first slip, {name}"
    foreseen = (predicted.first_slip_s, predicted.u_first_slip_s)
    if events and math.isfinite(foreseen[0]):
        first = min(events, key=lambda e: e.start_s)
        row = compare_quantity(quantity, "s", foreseen, (first.start_s, first.u_start_s), clock.duration_s)
        yield Compared("slip", name, row)
    elif events:
        first = min(events, key=lambda e: e.start_s)
        within = "no" if predicted.slip_chance < UNLIKELY else "inconclusive"
        row = ComparisonRow(quantity, "s", NAN, NAN, first.start_s, first.u_start_s, NAN, NAN, NAN, within)
        yield Compared("slip", name, row)
    elif math.isfinite(foreseen[0]) and predicted.slip_chance > UNLIKELY:
        within = "no" if predicted.slip_chance > 1 - UNLIKELY else "inconclusive"
        yield Compared("slip", name, ComparisonRow(quantity, "s", *foreseen, NAN, NAN, NAN, NAN, NAN, within))


def _compare_pull(
    motion: Motion, pull: Pull | None, clock: MatchClock, predicted: tuple[FloatArray, FloatArray, FloatArray]
) -> Iterator[Compared]:
    t_s, tension_N, u_tension_N = predicted
    measured = measured_peak_pull(motion, pull, clock)
    foreseen = find_peak(tension_N, u_tension_N, t_s, clock.duration_s)
    if measured is not None and foreseen is not None:
        yield Compared("pull", "", compare_quantity("peak pull", "N", foreseen, measured, measured[0]))


def _compare_rope(run: Run, motion: Motion, clock: MatchClock, forecast: ForecastRun) -> Iterator[Compared]:
    rope = motion.rope
    if rope is None:
        return
    t_s, end_s = clock.match_time(motion.clip_s), _end_of_both(motion, clock, forecast)
    foreseen = read_at(forecast.on_plus_x_m, forecast.u_on_plus_x_m, forecast.t_s, end_s)
    measured = read_at(rope.on_plus_x_m, rope.u_on_plus_x_m, t_s, end_s)
    if math.isfinite(foreseen[0]) and math.isfinite(measured[0]):
        # Its size is how far the rope went, as for the machines: where on the rope one starts to count is no size.
        at_start = read_at(rope.on_plus_x_m, rope.u_on_plus_x_m, t_s, 0.0)[0]
        went_m = abs(measured[0] - at_start) if math.isfinite(at_start) else 0.0
        scale_m = max(went_m, LEAST_WAY_RATIO * run.sheet.table.length_m)
        row = compare_quantity("rope on the +x side at the end", "m", foreseen, measured, scale_m)
        yield Compared("place", "", row)


def _compare_chances(chances: dict[str, float], ruling: Ruling | None, suffix: str) -> Iterator[Compared]:
    """The stated chance of each machine against how surely it won; one run can only speak against it."""
    if ruling is None or ruling.winning is None:
        return
    for name, chance in chances.items():
        if name not in ruling.winning.by_machine:
            continue
        happened = ruling.winning.by_machine[name]
        unlikely = ruling.sure and (1 - abs(happened - chance)) < UNLIKELY
        row = ComparisonRow(
            f"chance to win, {name}{suffix}", "1", chance, 0.0, happened, math.sqrt(happened * (1 - happened)),
            chance - happened, NAN, NAN, "no" if unlikely else "inconclusive",
        )  # fmt: skip
        yield Compared("chance", name, row)
