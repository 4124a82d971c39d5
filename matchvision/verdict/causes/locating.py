"""Where on the table something was: an explanation's places by where the machine was seen when it met them.

A refitted match is held against speeds, so that its machines drift by millimetres from where they were seen. Its edge
or wall is met at the right moment, but lies off by as much as the machine does then.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.match import play_match_quickly
from matchvision.records.motion import MachineMotion, MatchClock, Motion
from matchvision.uncertainty.rounding import K_95
from matchvision.verdict.causes.picturing import explained_match
from matchvision.verdict.causes.refits.playing import Forecasted
from matchvision.verdict.causes.search.finding import MODEL_IN_TIME_S, ON_ITS_BASE
from matchvision.verdict.causes.weighing import Weighed

#: Spacing of the moments at which the match is read [s].
READ_S: Final = 0.02
#: Within this of a wall a machine stands at it [m].
AT_WALL_M: Final = 0.003
#: What is less likely than this is told without (as a probability).
LEAST_LIKELY: Final = 0.01
PLACED: Final = ("slippery-stretch", "rough-stretch", "blocked")


def locate(
    weighed: tuple[Weighed, ...],
    forecasted: Forecasted,
    logged: Forecasted | None,
    motion: Motion,
    clock: MatchClock,
    until_s: float,
) -> tuple[Weighed, ...]:
    """The same explanations, their places moved to where the machine was seen as it met them in the match.

    The uncertainty of a place gains what meetings with it disagree by, how far the machine went in the time that the
    match may be early or late, and the uncertainty of where it was seen.

    Notes
    -----
    Checked by: tests/derived/test_locating.py::test_an_edge_lies_where_the_machine_was_seen
    """
    return tuple(
        _located(one, forecasted, logged, motion, clock, until_s)
        if one.cause in PLACED and one.beside is None and one.probability > LEAST_LIKELY
        else one
        for one in weighed
    )


def _located(
    one: Weighed,
    forecasted: Forecasted,
    logged: Forecasted | None,
    motion: Motion,
    clock: MatchClock,
    until_s: float,
) -> Weighed:
    model = explained_match(forecasted, logged, one)
    if one.explanation is None or model is None or one.explanation.machine not in motion.machines:
        return one
    k = forecasted.names.index(one.explanation.machine)
    seen = motion.machines[one.explanation.machine]
    times_s = np.arange(0.0, until_s, READ_S)
    try:
        own = play_match_quickly(model, times_s).machines[k]
    except CannotMeasure:
        return one
    reach_m = np.cos(own.heading_rad) * model.machines[k].wheelbase_m / 2
    axles = [own.x_m + reach_m, own.x_m - reach_m]
    off_m, u_off_m = _seen_off(clock.match_time(motion.clip_s), seen, times_s, own.x_m)
    at, u_at = [], []
    for place_m, u_m in zip(one.at, one.u_at, strict=True):
        near = (
            np.flatnonzero(np.abs(own.x_m - place_m) < AT_WALL_M)
            if one.cause == "blocked"
            else np.concatenate([crossings(axle, place_m) for axle in axles])
        )
        shift_m, u_shift_m = moved_by(near, off_m, u_off_m, np.gradient(own.x_m, READ_S))
        at.append(place_m + shift_m)
        on_base_m = ON_ITS_BASE * model.machines[k].wheelbase_m / 2 if one.cause == "rough-stretch" else 0.0
        u_at.append(float(np.linalg.norm([u_m, u_shift_m, on_base_m])))
    if one.cause != "blocked":
        at = met_ends(at, u_at, float(np.min(axles)), float(np.max(axles)))
    return replace(one, at=tuple(at), u_at=tuple(u_at))


def met_ends(at_m: Sequence[float], u_at_m: Sequence[float], lowest_m: float, highest_m: float) -> list[float]:
    """Ends of a stretch, low and high, with NaN for one that no wheel or base came past by more than its U95.

    How far a stretch goes on beyond where a machine was, nothing tells.
    """
    past_m = (at_m[0] - lowest_m, highest_m - at_m[1])
    return [end if past > K_95 * u else math.nan for end, u, past in zip(at_m, u_at_m, past_m, strict=True)]


def _seen_off(
    seen_s: FloatArray, seen: MachineMotion, times_s: FloatArray, x_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far ahead along x a machine was seen of where the match has it, and its uncertainty (NaN: nothing seen)."""
    known = np.isfinite(seen.x_m) & np.isfinite(seen.u_x_m)
    if known.sum() < 2:
        return np.full(len(times_s), np.nan), np.full(len(times_s), np.nan)
    x = np.interp(times_s, seen_s[known], seen.x_m[known], left=np.nan, right=np.nan)
    return x - x_m, np.interp(times_s, seen_s[known], seen.u_x_m[known], left=np.nan, right=np.nan)


def crossings(axle_m: FloatArray, place_m: float) -> npt.NDArray[np.intp]:
    """Numbers of the moments just before an axle goes over a place."""
    return np.flatnonzero(np.diff(np.sign(axle_m - place_m)))


def moved_by(
    near: npt.NDArray[np.intp], off_m: FloatArray, u_off_m: FloatArray, speed_m_s: FloatArray
) -> tuple[float, float]:
    """By how much a place is to be moved, and that shift's uncertainty, over all moments of meeting it.

    A place that was never met is as far off as the machine was at any time.
    """
    met = near[np.isfinite(off_m[near])]
    if not len(met):
        met = np.flatnonzero(np.isfinite(off_m))
    if not len(met):
        return 0.0, 0.0
    passed_m = np.sqrt(np.mean((MODEL_IN_TIME_S * speed_m_s[met]) ** 2))
    return float(np.mean(off_m[met])), float(np.hypot(np.hypot(np.std(off_m[met]), passed_m), np.mean(u_off_m[met])))
