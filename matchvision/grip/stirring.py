"""Whether something moved faster than a limit, from its unsmoothed course: a way that was gone within a known time."""

from typing import Final

import numpy as np
from scipy.special import ndtr

from matchvision.arrays import FloatArray
from matchvision.grip.intervals import typical_step_s

#: The course is looked at from so long before a moment to so long after it.
BEFORE_S: Final = 0.5
AFTER_S: Final = 0.6
#: The way begins within this time about the moment, and lasts no longer than that.
EARLIER_S: Final = 0.15
LATER_S: Final = 0.4
LONGEST_S: Final = 0.5
#: What comes further away than this soon after has gone fast beyond question.
FAR_M: Final = 0.010
#: Fewer places than this tell nothing.
LEAST_PLACES: Final = 12


def chance_of_way(
    t_s: FloatArray, course: FloatArray, sigma: float, level_m_s: float, about_s: float, least_s: float
) -> float | None:
    """Probability that a course went faster than a limit for a while about a moment, where its whole way is short.

    None where it comes further than a centimetre within the next 0.6 s, and with too few places.

    Parameters
    ----------
    t_s, course : (n,) float arrays without NaN
        Places along a line [m], not smoothed.
    sigma : noise of one place [m]
    level_m_s, least_s : the limit, and for how long it must be exceeded.

    Notes
    -----
    Three straight pieces that meet: before, the way, and after. For each beginning and length of the middle one its
    slope is normal (least squares); the probability that its size exceeds the limit is averaged over all of them, each
    by its likelihood. What no pieces fit is taken as noise. A marker that a coder lets jump by half a millimetre
    has a fast smoothed speed too, but is not carried 10 mm/s · 0.1 s on.
    Checked by: tests/grip/test_stirring.py::test_way_of_two_millimetres_is_told_from_a_jump
    """
    near = (t_s >= about_s - BEFORE_S) & (t_s <= about_s + AFTER_S)
    t, y = t_s[near], course[near]
    if len(t) < LEAST_PLACES or np.ptp(y) > FAR_M:
        return None
    step_s = typical_step_s(t)
    begins = np.arange(max(about_s - EARLIER_S, t[2]), min(about_s + LATER_S, t[-3]), step_s)
    lengths = np.arange(least_s, LONGEST_S, 2 * step_s)
    begin, length = (grid.ravel() for grid in np.meshgrid(begins, lengths, indexing="ij"))
    fits = begin + length < t[-2]
    begin, length = begin[fits], length[fits]
    if len(begin) == 0:
        return None
    rise = np.clip(t - begin[:, None], 0.0, length[:, None])
    later = np.maximum(t - (begin + length)[:, None], 0.0)
    ones = np.broadcast_to(np.ones_like(t), rise.shape)
    design = np.stack([ones, np.minimum(t - begin[:, None], 0.0), rise, later], axis=-1)
    normal = np.swapaxes(design, 1, 2) @ design
    inverse = np.linalg.pinv(normal, hermitian=True)
    solution = (inverse @ (np.swapaxes(design, 1, 2) @ y)[..., None])[..., 0]
    cost = ((y - (design @ solution[..., None])[..., 0]) ** 2).sum(axis=1)
    spread = max(sigma**2, float(cost.min()) / max(len(t) - 6, 1), 1e-12)
    weight = np.exp(-0.5 * (cost - cost.min()) / spread)
    u_speed = np.sqrt(spread * inverse[:, 2, 2])
    speed = np.abs(solution[:, 2])
    return float(np.average(ndtr((speed - level_m_s) / u_speed), weights=weight))
