"""A measured series read at one moment, with the uncertainty of reading it there."""

from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: A value is read from the frames this near the moment.
NEAR_S: Final = 0.15
#: Beyond the last known value a series is carried on for no longer than this.
CARRY_S: Final = 0.5


def read_at(values: FloatArray, u_values: FloatArray, t_s: FloatArray, at_s: float) -> tuple[float, float]:
    """Value and u of a series at a moment, NaN where it is not known near it.

    A straight line through the frames within 0.15 s; u is that of the three nearest frames, not averaged down, since
    most of it is common to them. Where the series ends up to 0.5 s before the moment it is carried on at its last
    speed, and all that it is carried on by counts as uncertainty.

    Notes
    -----
    Checked by: tests/verdict/test_reading.py::test_series_that_ends_early_is_carried_on
    """
    known = np.isfinite(values) & np.isfinite(u_values)
    near = known & (np.abs(t_s - at_s) <= NEAR_S)
    carried_s = 0.0
    if near.sum() < 2 or t_s[near].max() < at_s - NEAR_S / 2 or t_s[near].min() > at_s + NEAR_S / 2:
        if not known.any():
            return float("nan"), float("nan")
        nearest_s = float(t_s[known][np.argmin(np.abs(t_s[known] - at_s))])
        carried_s = abs(at_s - nearest_s)
        if carried_s > CARRY_S:
            return float("nan"), float("nan")
        near = known & (np.abs(t_s - nearest_s) <= 2 * NEAR_S)
    nearest = np.argsort(np.abs(t_s[near] - at_s), kind="stable")[:3]
    u = float(np.sqrt(np.mean(u_values[near][nearest] ** 2)))
    if near.sum() < 3:
        slope, value = 0.0, float(values[near].mean())
    else:
        slope, value = (float(c) for c in np.polyfit(t_s[near] - at_s, values[near], 1))
    return value, float(np.hypot(u, slope * carried_s))
