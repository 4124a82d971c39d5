"""Whole turns of a wheel: which of the rates that look alike at this frame rate is the true one, if any is sure."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.compiling import compile_kept
from matchvision.mechanics.motor import wheel_free_rate_rad_s
from matchvision.motion.smoothing import LONGEST_GAP_S
from matchvision.records.sheet import Drive, Forecast
from matchvision.records.tracks import MarkerPlan

#: How much a wheel's rate changes from one frame to the next (standard deviation), in turns of its pattern a frame.
#: Loose wheels spin up within some five frames; a change of half a turn at once looks the same either way.
U_CHANGE_TURNS = 0.08
#: A reading must be better than the next best one by this log-likelihood, odds of 150 to 1.
LEAST_MARGIN = 5.0
#: Where no drive is stated, rates up to this many turns a frame are weighed …
FASTEST_TURNS = 1.0
#: … and each frame at more than half a turn counts this much (log-likelihood) against a reading.
UNUSUAL_COST = 0.3
#: A pattern that seems to stand to this many turns a frame stands; just one turn a frame would be a strange chance …
STANDING_TURNS = 0.01
#: … that counts this much (log-likelihood) a frame.
STROBE_COST = 2.0
#: A drive may run this much faster than stated: fresh batteries, and what was not measured.
FASTER_RATIO = 1.25
#: A wheel that turns faster than stated in so many steps contradicts the statement.
CONTRADICTED_STEPS = 3
#: Marks of one colour that a rotation puts onto each other this closely look the same [rad].
ALIKE_RAD = 0.15


@dataclass(frozen=True, eq=False)
class TurnCount:
    """A wheel's angle with whole turns, (n,) [rad]; NaN where there is none or where its turns could not be decided.

    ``undecided`` marks the frames whose angle was seen, but whose rate could be any of several.
    """

    angle_rad: FloatArray
    undecided: BoolArray


def pattern_turn(plans: Sequence[MarkerPlan]) -> float:
    """The smallest rotation [rad] after which the marks of a wheel look as before: 2π unless they repeat."""
    marks = [(p.colour, p.circle_m, np.radians(p.angle_deg)) for p in plans]
    for repeats in range(len(marks), 1, -1):
        step = 2 * np.pi / repeats
        alike = all(
            any(
                colour == other
                and abs(circle_m - other_m) < ALIKE_RAD * circle_m
                and abs(np.angle(np.exp(1j * (angle + step - at)))) < ALIKE_RAD
                for other, other_m, at in marks
            )
            for colour, circle_m, angle in marks
        )
        if alike:
            return step
    return 2 * np.pi


def fastest_rate(drives: Sequence[Drive | None]) -> float | None:
    """The fastest that a wheel can be driven [rad/s] by what is stated of its drive; None where nothing is."""
    sides: list[Drive | None] = []
    for drive in drives:
        sides += [drive, *((drive.left, drive.right) if isinstance(drive, Forecast) else ())]
    rates = [
        float(wheel_free_rate_rad_s(side.no_load_rev_min.value, side.gear_ratio.value))
        for side in sides
        if side is not None and side.no_load_rev_min is not None and side.gear_ratio is not None
    ]
    return FASTER_RATIO * max(rates) if rates else None


def count_turns(
    angle_rad: FloatArray, real_s: FloatArray, turn_rad: float = 2 * np.pi, fastest_rad_s: float | None = None
) -> TurnCount:
    """Add whole turns to a wheel's angle.

    Between two frames a pattern may have turned on by any number of its turns, forwards or backwards. Of all such
    readings of the clip the likeliest is taken: rates that the drive cannot reach are left out, rates change little
    from frame to frame, and a pattern that seems to stand does stand. Where another reading is nearly as likely,
    nothing is said.

    Parameters
    ----------
    angle_rad : (n,) float array
        Angle up to whole turns of the pattern; NaN where not seen.
    real_s : (n,) float array
        Real times.
    turn_rad : float
        Rotation after which the pattern looks as before, see `pattern_turn`.
    fastest_rad_s : float, optional
        The fastest that the wheel can turn, either way.

    Notes
    -----
    Viterbi's recursion over the number of turns in each step, forwards and backwards: the best reading through each
    number, beside the best of all (A. J. Viterbi, IEEE Trans. Information Theory 13 (1967) 260). Gaps longer than
    `LONGEST_GAP_S` start anew.
    Checked by: tests/motion/test_turns.py::test_fast_wheels_are_followed_up_to_the_frame_rate
    """
    result = np.full(len(angle_rad), np.nan)
    undecided = np.zeros(len(angle_rad), dtype=np.bool_)
    at = np.flatnonzero(np.isfinite(angle_rad))
    if len(at) == 0:
        return TurnCount(result, undecided)
    tick_s = float(np.median(np.diff(real_s))) if len(real_s) > 1 else 1.0
    pieces = np.split(at, np.flatnonzero(np.diff(real_s[at]) > LONGEST_GAP_S) + 1)
    last = angle_rad[at[0]]
    for piece in pieces:
        start = last + np.angle(np.exp(1j * (angle_rad[piece[0]] - last)))
        if len(piece) == 1:
            result[piece] = start
            continue
        turns = angle_rad[piece] / turn_rad
        frames = np.diff(real_s[piece]) / tick_s
        reach = FASTEST_TURNS if fastest_rad_s is None else fastest_rad_s * tick_s / turn_rad
        steps, sure = _likeliest(np.diff(turns), frames, reach, stated=fastest_rad_s is not None)
        if (np.abs(steps / frames) > reach).sum() >= CONTRADICTED_STEPS:
            # What is stated of the drive cannot be true, so it decides nothing.
            steps, sure = _likeliest(np.diff(turns), frames, max(reach, FASTEST_TURNS), stated=False)
        result[piece] = start + turn_rad * np.concatenate([[0.0], np.cumsum(steps)])
        unsure = np.concatenate([~sure, [False]]) | np.concatenate([[False], ~sure])
        undecided[piece[unsure]] = True
        last = result[piece[-1]]
    result[undecided] = np.nan
    return TurnCount(result, undecided)


def _likeliest(apart: FloatArray, frames: FloatArray, reach: float, *, stated: bool) -> tuple[FloatArray, BoolArray]:
    """Turns made in each step (s,), and whether they are surely those.

    Parameters
    ----------
    apart : (s,) float array
        Turns between neighbouring values, up to whole ones.
    frames : (s,) float array
        Length of the steps in frames.
    reach : float
        Turns a frame that the wheel can make.
    """
    near = apart - np.round(apart)
    most = max(1, int(np.ceil(reach * frames.max() + 0.5)))
    whole = np.arange(-most, most + 1)
    steps = near[:, None] + whole
    rates = steps / frames[:, None]
    # The slowest reading is always among them, so that a wrong statement shows.
    possible = (np.abs(rates) <= reach) | (whole == 0)
    own = np.where(possible, 0.0, np.inf)
    if not stated:
        own = own + UNUSUAL_COST * frames[:, None] * (np.abs(rates) > 0.5)
    own = own + STROBE_COST * (np.abs(near) < STANDING_TURNS)[:, None] * (whole != 0)
    middle = 0.5 * (frames[1:] + frames[:-1])
    ahead, behind = own.copy(), own.copy()

    _reach(rates, middle, U_CHANGE_TURNS, ahead, behind)
    through = np.where(np.isfinite(own), ahead + behind - np.where(np.isfinite(own), own, 0.0), np.inf)
    best = np.argmin(through, axis=1)
    rows = np.arange(len(apart))
    least = through[rows, best]
    others = through.copy()
    others[rows, best] = np.inf
    return steps[rows, best], np.asarray(others.min(axis=1) - least >= LEAST_MARGIN)


def _reach_loops(rates: FloatArray, middle: FloatArray, u_change: float, ahead: FloatArray, behind: FloatArray) -> None:
    """Add the cheapest way from the first step, and to the last one, to each step's own costs (s, c)."""
    steps, count = rates.shape
    for k in range(steps - 1):
        for j in range(count):
            least = np.inf
            for i in range(count):
                off = (rates[k + 1, j] - rates[k, i]) / u_change
                least = min(least, ahead[k, i] + 0.5 * off * off / middle[k])
            ahead[k + 1, j] += least
    for k in range(steps - 2, -1, -1):
        for i in range(count):
            least = np.inf
            for j in range(count):
                off = (rates[k + 1, j] - rates[k, i]) / u_change
                least = min(least, behind[k + 1, j] + 0.5 * off * off / middle[k])
            behind[k, i] += least


_reach: Callable[..., Any] = compile_kept(_reach_loops)
