"""Measured against predicted, phase by phase and curve by curve."""

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.forecast import ForecastRun
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.results import ComparisonRow, CurveRow, Phase
from matchvision.records.sheet import Run
from matchvision.verdict.comparing import LEAST_WAY_RATIO, compare_quantity
from matchvision.verdict.curves import hold_apart
from matchvision.verdict.reading import read_at

Curve = tuple[FloatArray, FloatArray, FloatArray]

#: A slip slower than this [m/s] is none (the length of a slip event's threshold): smaller ones are no size.
LEAST_SLIP_M_S: Final = 0.030
#: Wheels that grip creep by 2 to 4 mm/s under load, which no forecast computes: standard uncertainty of predicted slip.
CREEP_M_S: Final = 0.003
#: Wheels of one machine whose slip is known over less of a phase than this are left out.
LEAST_KNOWN: Final = 0.5
#: Curves smaller than this (rms) are those of something that stands, grips or hangs slack: N, m/s, m/s.
LEAST_RMS: Final = {"pull": 1.0, "speed": 0.010, "slip speed": LEAST_SLIP_M_S}


def compare_phases(
    run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, forecast: ForecastRun, phases: Sequence[Phase]
) -> tuple[ComparisonRow, ...]:
    """Mean speed, pull and slip of each phase as measured against the same stretch of time as predicted.

    A predicted mean has the mean of the band's u, as a band's errors last; a measured mean speed is way over time, with
    both ends' u.
    """
    rows: list[ComparisonRow] = []
    for phase in phases:
        span_s = phase.until_s - phase.from_s
        least_m_s = LEAST_WAY_RATIO * run.sheet.table.length_m / span_s
        for name, predicted in forecast.machines.items():
            moved = motion.machines.get(name)
            told = _mean(forecast.t_s, predicted.speed_m_s, predicted.u_speed_m_s, phase)
            if moved is not None and told is not None:
                side = 1.0 if run.sheet.machine[name].home == "+x" else -1.0
                t_s = clock.match_time(motion.clip_s)
                (begin_m, u_begin_m), (end_m, u_end_m) = (
                    read_at(moved.x_m, moved.u_x_m, t_s, at) for at in (phase.from_s, phase.until_s)
                )
                seen = side * (end_m - begin_m) / span_s, math.hypot(u_begin_m, u_end_m) / span_s
                rows += _row("mean speed towards home", name, "m/s", told, seen, least_m_s, phase)
            slip = _measured_slip(motion, clock, name)
            told = _mean(forecast.t_s, predicted.slip_speed_m_s, predicted.u_slip_speed_m_s, phase)
            seen_slip = None if slip is None else _mean(*slip, phase)
            if told is not None and seen_slip is not None:
                told = told[0], math.hypot(told[1], CREEP_M_S)
                rows += _row("mean slip speed", name, "m/s", told, seen_slip, LEAST_SLIP_M_S, phase)
        tension = _measured_tension(motion, pull, clock)
        told = _mean(forecast.t_s, forecast.tension_N, forecast.u_tension_N, phase)
        seen_pull = None if tension is None else _mean(*tension, phase)
        if told is not None and seen_pull is not None:
            rows += _row("mean pull", "", "N", told, seen_pull, 0.0, phase)
    return tuple(rows)


def compare_curves(
    motion: Motion, pull: Pull | None, clock: MatchClock, forecast: ForecastRun, phases: Sequence[Phase]
) -> tuple[CurveRow, ...]:
    """Distance, shift, size, shape and coverage of each predicted curve, over the whole run and over each phase."""
    last_s = min(clock.duration_s, float(clock.match_time(motion.clip_s)[-1]), float(forecast.t_s[-1]))
    stretches = [Phase("", 0.0, last_s, ""), *phases] if last_s > 0 else []
    rows = []
    for what, machine, unit, predicted, measured in _curves(motion, pull, clock, forecast):
        for stretch in stretches:
            until_s = min(stretch.until_s, last_s)
            apart = hold_apart(predicted, measured, stretch.from_s, until_s, LEAST_RMS[what])
            if apart is not None:
                rows.append(
                    CurveRow(what, unit, machine, stretch.phase, stretch.from_s, stretch.until_s, **vars(apart))
                )
    return tuple(rows)


def _curves(
    motion: Motion, pull: Pull | None, clock: MatchClock, forecast: ForecastRun
) -> Iterator[tuple[str, str, str, Curve, Curve]]:
    t_s = clock.match_time(motion.clip_s)
    tension = _measured_tension(motion, pull, clock)
    if tension is not None:
        yield "pull", "", "N", (forecast.t_s, forecast.tension_N, forecast.u_tension_N), tension
    for name, predicted in forecast.machines.items():
        moved = motion.machines.get(name)
        if moved is not None:
            speed = (t_s, moved.speed_m_s, moved.u_speed_m_s)
            yield "speed", name, "m/s", (forecast.t_s, predicted.speed_m_s, predicted.u_speed_m_s), speed
        slip = _measured_slip(motion, clock, name)
        if slip is not None:
            foreseen = (forecast.t_s, predicted.slip_speed_m_s, predicted.u_slip_speed_m_s)
            yield "slip speed", name, "m/s", foreseen, slip


def _row(
    what: str,
    machine: str,
    unit: str,
    told: tuple[float, float],
    seen: tuple[float, float],
    least: float,
    phase: Phase,
) -> Iterator[ComparisonRow]:
    """One row, where the measured side is known."""
    if math.isfinite(seen[0]) and math.isfinite(seen[1]):
        name = f"{what}, {machine}" if machine else what
        scale = max(abs(seen[0]), least)
        yield compare_quantity(name, unit, told, seen, scale, machine=machine, phase=phase.phase)


def _mean(t_s: FloatArray, values: FloatArray, u: FloatArray, phase: Phase) -> tuple[float, float] | None:
    """Mean of a series over a phase and of its u, not averaged down; None where too little of it is known."""
    inside = (t_s >= phase.from_s) & (t_s <= phase.until_s)
    known = inside & np.isfinite(values) & np.isfinite(u)
    if known.sum() < max(3, LEAST_KNOWN * inside.sum()):
        return None
    return float(np.mean(values[known])), float(np.mean(u[known]))


def _measured_tension(motion: Motion, pull: Pull | None, clock: MatchClock) -> Curve | None:
    fused = pull.source("fused") if pull is not None else None
    if fused is None or not fused.independent:
        return None
    return clock.match_time(motion.clip_s), fused.tension_N, fused.u_tension_N


def _measured_slip(motion: Motion, clock: MatchClock, name: str) -> Curve | None:
    """Mean slip speed of a machine's driven wheels as seen: of those known in each frame."""
    wheels = [wheel for wheel in motion.wheels if wheel.machine == name and wheel.driven]
    if not wheels:
        return None
    slip, u = (np.stack([getattr(w, key) for w in wheels]) for key in ("slip_speed_m_s", "u_slip_speed_m_s"))
    known = np.isfinite(slip) & np.isfinite(u)
    count = np.maximum(known.sum(axis=0), 1)
    mean = np.where(known.any(axis=0), np.where(known, slip, 0.0).sum(axis=0) / count, np.nan)
    u_mean = np.where(known.any(axis=0), np.where(known, u, 0.0).sum(axis=0) / count, np.nan)
    return clock.match_time(motion.clip_s), mean, u_mean
