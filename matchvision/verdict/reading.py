"""A measured series read at one moment, with the uncertainty of reading it there."""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray

#: A value is read between frames this near the moment.
NEAR_S: Final = 0.15
#: Beyond the last known value a series is carried on for no longer than this.
CARRY_S: Final = 0.5


def read_at(values: FloatArray, u_values: FloatArray, t_s: FloatArray, at_s: float) -> tuple[float, float]:
    """Value and u of a series at a moment, NaN where it is not known near it.

    Straight between the last known frame before the moment and the first one after it, both within 0.15 s of it: the
    series is smooth already, and drivers let go when the clock stops, so that frames further on would bend a longer
    line. u is read off in the same way, not averaged down, since most of it is common to frames. Where the series
    ends up to 0.5 s before the moment it is carried on at its last speed, and all that it is carried on by counts as
    uncertainty.

    Notes
    -----
    Checked by: tests/verdict/test_reading.py::test_series_that_ends_early_is_carried_on
    """
    known = np.isfinite(values) & np.isfinite(u_values)
    if not known.any():
        return float("nan"), float("nan")
    known_s, known_values = t_s[known], values[known]
    nearest = np.argmin(np.abs(known_s - at_s))
    # Beyond the ends of the series it is that of the last frame.
    u = float(np.interp(at_s, known_s, u_values[known]))
    # The first value is read as it is: a predicted run begins with the match.
    after = max(1, int(np.searchsorted(known_s, at_s))) if at_s >= known_s[0] else 0
    around = known_s[max(after - 1, 0) : after + 1]
    if len(around) == 2 and np.all(np.abs(around - at_s) <= NEAR_S):
        return float(np.interp(at_s, known_s, known_values)), u
    nearest_s = float(known_s[nearest])
    carried_s = at_s - nearest_s
    if abs(carried_s) > CARRY_S:
        return float("nan"), float("nan")
    near = np.abs(known_s - nearest_s) <= 2 * NEAR_S
    if near.sum() < 3:
        return float(known_values[nearest]), u
    slope, value = (float(c) for c in np.polyfit(known_s[near] - at_s, known_values[near], 1))
    return value, float(np.hypot(u, slope * carried_s))
