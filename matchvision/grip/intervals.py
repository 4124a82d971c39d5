"""Runs of frames in which something holds, dated between the frames."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from scipy.special import ndtr

from matchvision.arrays import BoolArray, FloatArray

#: A slope is believed once the value changes by this many u along it.
CLEAR_OF_NOISE: Final = 8.0
#: But it is taken over no longer than this.
LONGEST_SPAN_S: Final = 0.5
#: Times that differ by no more than this are the same: sums of frames' times are off by their last digits.
SAME_S: Final = 1e-6
#: No date of something that was found is less certain than this.
LONGEST_U_S: Final = 0.5


@dataclass(frozen=True)
class Stretch:
    """Frames ``first`` to ``last`` (both in it)."""

    first: int
    last: int

    @property
    def frames(self) -> slice:
        """As a slice."""
        return slice(self.first, self.last + 1)


def find_stretches(holds: BoolArray) -> list[Stretch]:
    """Stretches of neighbouring frames in which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return [Stretch(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def hold_between(values: FloatArray, enter: float, leave: float) -> BoolArray:
    """Where a value has risen above ``enter`` and not yet fallen below ``leave``; NaN keeps the state of before."""
    holds = np.zeros(len(values), dtype=np.bool_)
    inside = False
    for k, value in enumerate(values):
        if value > enter:
            inside = True
        elif value < leave:
            inside = False
        holds[k] = inside
    return holds


def bridge_gaps(holds: BoolArray, real_s: FloatArray, longest_s: float) -> BoolArray:
    """The same with gaps no longer than ``longest_s`` between two stretches closed."""
    joined = holds.copy()
    stretches = find_stretches(holds)
    for before, after in pairwise(stretches):
        if real_s[after.first] - real_s[before.last] <= longest_s:
            joined[before.last : after.first] = True
    return joined


def keep_long(holds: BoolArray, real_s: FloatArray, least_s: float) -> list[Stretch]:
    """Stretches that last at least ``least_s``, a frame's own duration included."""
    frame_s = typical_step_s(real_s)
    return [s for s in find_stretches(holds) if real_s[s.last] - real_s[s.first] + frame_s >= least_s - SAME_S]


def typical_step_s(real_s: FloatArray) -> float:
    """Median time from frame to frame [s]."""
    return float(np.median(np.diff(real_s))) if len(real_s) > 1 else 0.0


def date_crossing(
    values: FloatArray, u_values: FloatArray, real_s: FloatArray, frame: int, level: float
) -> tuple[float, float]:
    """When a value crossed a level on its way into ``frame`` [s], and the standard uncertainty of that.

    Straight between the frame before and this one; u from the value's u over its slope there, and from the frames'
    distance (rectangular).

    Notes
    -----
    Checked by: tests/grip/test_intervals.py::test_crossing_lies_between_the_frames
    """
    if frame == 0 or not np.isfinite(values[frame - 1]):
        step_s = typical_step_s(real_s)
        return float(real_s[frame]), step_s / np.sqrt(12)
    before, after = float(values[frame - 1]), float(values[frame])
    share = float(np.clip((level - before) / (after - before), 0.0, 1.0)) if after != before else 1.0
    step_s = float(real_s[frame] - real_s[frame - 1])
    at_s = float(real_s[frame - 1]) + share * step_s
    u_value = float(u_values[frame])
    slope = _slope_across(values, real_s, frame, u_value)
    u_slope_s = u_value / slope if slope > 0 and np.isfinite(u_value) else LONGEST_U_S
    return at_s, float(np.hypot(min(u_slope_s, LONGEST_U_S), step_s / np.sqrt(12)))


def _slope_across(values: FloatArray, real_s: FloatArray, frame: int, u_value: float) -> float:
    """Slope (its size) around a crossing, over just so many frames that the value changes by more than its noise.

    Few frames would take noise for slope: a crossing is found where noise helps it across.
    """
    slope = 0.0
    for reach in range(2, len(values)):
        part = slice(max(frame - reach, 0), frame + reach)
        known = np.isfinite(values[part])
        if known.sum() < 2:
            continue
        slope = abs(float(np.polyfit(real_s[part][known], values[part][known], 1)[0]))
        span_s = float(real_s[part][-1] - real_s[part][0])
        if slope * span_s > CLEAR_OF_NOISE * u_value or span_s > LONGEST_SPAN_S:
            break
    return slope


def chance_above(value: float, u: float, level: float) -> float:
    """Probability that a quantity measured as ``value`` ± ``u`` lies above a level (normal)."""
    if not (np.isfinite(u) and u > 0):
        return float(value > level)
    return float(ndtr((value - level) / u))


def best_mean(values: FloatArray, u_values: FloatArray, real_s: FloatArray, window_s: float) -> tuple[float, float]:
    """Greatest mean of the values over ``window_s`` within them, and the u there (not averaged down)."""
    width = max(1, round(window_s / max(typical_step_s(real_s), 1e-9))) if len(real_s) > 1 else 1
    width = min(width, len(values))
    filled, known = np.nan_to_num(values), np.isfinite(values).astype(np.float64)
    count = np.convolve(known, np.ones(width), "valid")
    means = np.where(count > 0, np.convolve(filled, np.ones(width), "valid") / np.maximum(count, 1.0), -np.inf)
    at = int(np.argmax(means))
    u = u_values[at : at + width]
    u = u[np.isfinite(u)]
    return float(means[at]), float(np.sqrt(np.mean(u**2))) if len(u) else float("nan")
