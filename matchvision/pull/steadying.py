"""Noisy readings made steadier, over as long as the course of things allows."""

import math
from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.records.motion import Motion
from matchvision.uncertainty import window_sums

#: Frames to each side of a window, narrow to wide; the widest leaves less than half of the noise. In wider ones the
#: course of a contest's pull bends by more than it shows.
HALF_WIDTHS: Final = (2, 3, 5)
#: A parabola is believed while its chi-squared exceeds its degrees of freedom by less than this many of its standard
#: deviations: then hardly any is refused by chance, which would leave the frames with the largest errors as they are.
_CHI_LIMIT: Final = 3.0
#: Machines' accelerations are means over this long. A smoothed speed forgets in half of it, so that the errors at both
#: ends are two; shorter ones are noisier, longer ones miss what a slipping contact does.
ACCELERATION_OVER_S: Final = 0.1


def steady_series(values: FloatArray, u: FloatArray, real_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values (n,) by a local parabola around each frame, and the u that is left; NaN stays NaN.

    Each frame takes the widest window in which, and in all narrower ones, readings lie about a parabola as far as their
    noise says: a jerk keeps its own reading. Where they lie further than stated u grows with them (Birge ratio).

    Parameters
    ----------
    values, u : (n,) float arrays
        Readings and their white noise.
    real_s : (n,) float array
        Times of the frames, at whatever steps.

    Notes
    -----
    Weighted least squares; noise gain of the fit's middle value. For even steps it is the smoother of Savitzky and
    Golay (1964): seven points give (−2, 3, 6, 7, 6, 3, −2)/21.
    Checked by: tests/pull/test_steadying.py::test_seven_points_weigh_as_savitzky_and_golay_printed
    """
    best, u_best = values.copy(), u.copy()
    trusted = np.isfinite(values) & np.isfinite(u) & (u > 0)
    for half in HALF_WIDTHS:
        fitted, gain, chi_squared, freedom = fit_parabolas(values, u, real_s, half)
        trusted &= np.isfinite(fitted) & (freedom >= 1)
        safe = np.maximum(freedom, 1.0)
        trusted &= np.nan_to_num(chi_squared, nan=np.inf) <= safe + _CHI_LIMIT * np.sqrt(2 * safe)
        birge = np.sqrt(np.maximum(1.0, chi_squared / safe))
        best, u_best = np.where(trusted, fitted, best), np.where(trusted, u * gain * birge, u_best)
    return best, u_best


def fit_parabolas(
    values: FloatArray, u: FloatArray, real_s: FloatArray, half: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Middle value, noise gain, chi-squared and degrees of freedom (n,) of parabolas over ``half`` frames to each side.

    The noise is taken as that of the middle frame throughout. Beyond the ends and at gaps there are fewer readings; NaN
    where fewer than four.
    """
    n = len(values)
    frames = np.arange(n)[:, None] + np.arange(-half, half + 1)
    inside = (frames >= 0) & (frames < n)
    frames = np.clip(frames, 0, n - 1)
    known = inside & np.isfinite(values[frames])
    reading = np.where(known, values[frames], 0.0)
    width_s = float(np.median(np.diff(real_s))) * half if n > 1 else 1.0
    away = (real_s[frames] - real_s[:, None]) / width_s
    powers = np.where(known[..., None], away[..., None] ** np.arange(3), 0.0)
    normal = np.einsum("nji,njk->nik", powers, powers)
    count = known.sum(axis=1)
    enough = (count >= 4) & (np.abs(np.linalg.det(normal)) > 1e-9) & np.isfinite(values)
    normal = np.where(enough[:, None, None], normal, np.eye(3))
    inverse = np.linalg.inv(normal)
    found = np.einsum("nik,njk,nj->ni", inverse, powers, reading)
    left = np.where(known, reading - np.einsum("nji,ni->nj", powers, found), 0.0)
    chi_squared = np.sum(left**2, axis=1) / np.where(u > 0, u, 1.0) ** 2
    middle, gain = found[:, 0], np.sqrt(inverse[:, 0, 0])
    nowhere = np.where(enough, 0.0, np.nan)
    return middle + nowhere, gain + nowhere, chi_squared + nowhere, (count - 3.0) + nowhere


def average_accelerations(motion: Motion) -> Motion:
    """The motion with accelerations that are means over `ACCELERATION_OVER_S`, where their course allows it.

    What the smoother calls acceleration is that of the very moment, with all that contact may have done to it in a
    frame or two. A pull is sought over a tenth of a second: that is the change of speed over it, and known far better.
    Where both differ by more than the smoother's uncertainty something jerked, and its own value stands.
    """
    machines = {}
    for name, moved in motion.machines.items():
        accel, u = local_slope(moved.speed_m_s, moved.u_speed_m_s, motion.real_s, ACCELERATION_OVER_S)
        calm = (np.abs(accel - moved.accel_m_s2) < moved.u_accel_m_s2) & (u < moved.u_accel_m_s2)
        machines[name] = replace(
            moved,
            accel_m_s2=np.where(calm, accel, moved.accel_m_s2),
            u_accel_m_s2=np.where(calm, u, moved.u_accel_m_s2),
        )
    return replace(motion, machines=machines)


def local_slope(values: FloatArray, u: FloatArray, real_s: FloatArray, over_s: float) -> tuple[FloatArray, FloatArray]:
    """Rate of change (n,) of a series over a window around each frame, by a straight line, and its uncertainty.

    ``u`` may be tied from frame to frame, so it is taken not to average out: as of the two ends of the window.
    """
    known = np.isfinite(values)
    sums = [window_sums(np.where(known, part, 0.0), real_s, over_s) for part in (1.0, real_s, values)]
    sums += [window_sums(np.where(known, part, 0.0), real_s, over_s) for part in (real_s**2, real_s * values)]
    count, t, v, tt, tv = sums
    count = np.where(count >= 3, count, np.nan)
    spread = tt / count - (t / count) ** 2
    slope = (tv / count - t * v / count**2) / np.where(spread > 0, spread, np.nan)
    return np.asarray(slope, dtype=np.float64), np.asarray(u * math.sqrt(2) / over_s, dtype=np.float64)


def lasting(holds: BoolArray, real_s: FloatArray, least_s: float) -> BoolArray:
    """Where something holds for at least so long without a break."""
    kept = holds.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        kept[first:after] = real_s[after - 1] - real_s[first] >= least_s
    return kept
