"""How far a predicted curve lies from the measured one: later or sooner, larger or smaller, of another shape."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.uncertainty import K_95
from matchvision.uncertainty.scoring import crps_gaussian

#: Spacing [s] of the moments at which curves are held together; both are read by straight lines.
STEP_S: Final = 0.02
#: What is left between two curves lasts for about this long [s]: so many neighbouring moments count as one.
LASTS_S: Final = 0.5
#: Shifts are looked for up to this share of the stretch, and never further than this [s].
FURTHEST_RATIO, FURTHEST_S = 0.25, 1.0
#: Fewer independent moments than this tell no shift from a change of size.
LEAST_INDEPENDENT: Final = 4.0


@dataclass(frozen=True)
class Apart:
    """How a predicted curve differs from the measured one; NaN where it cannot be told.

    Attributes
    ----------
    distance_ratio : rms of predicted − measured over rms of measured.
    shift_s, u_shift_s : by how much the prediction comes too late (negative: too early).
    size_ratio, u_size_ratio : by how much it is too large, once shifted: 1 is right.
    shape_ratio : rms of what is left after shift and size, over rms of measured.
    inside_ratio : share of the time in which the difference lies inside its own 95 % (predicted and measured u).
    crps_ratio : mean CRPS of the predicted band over rms of measured.
    """

    distance_ratio: float
    shift_s: float
    u_shift_s: float
    size_ratio: float
    u_size_ratio: float
    shape_ratio: float
    inside_ratio: float
    crps_ratio: float


def hold_apart(
    predicted: tuple[FloatArray, FloatArray, FloatArray],
    measured: tuple[FloatArray, FloatArray, FloatArray],
    from_s: float,
    until_s: float,
    least_rms: float = 0.0,
) -> Apart | None:
    """Tell two curves apart over a stretch of match time; None where less than half of it is known on both sides.

    Parameters
    ----------
    predicted, measured : (k,) times [s], values and standard uncertainties each, NaN where not known.
    from_s, until_s : the stretch.
    least_rms : a measured curve smaller than this has no size to judge by, and gives None too.

    Notes
    -----
    Least squares of measured m(t) by a·p(t + τ): for each shift τ the best size 1/a is a projection, so one search over
    τ does. What is left counts as independent every half second; the u of shift and size follow from that and from how
    fast the prediction changes, but for what a change of size does too. A shift at the edge of the search, or that
    could be anywhere in it, is no shift: a curve without a bend has none.
    Checked by: tests/verdict/test_curves.py::test_shift_and_size_are_told_apart
    """
    times = np.arange(from_s, until_s + STEP_S / 2, STEP_S)
    m, u_m = _read(measured, times)
    p, u_p = _read(predicted, times)
    known = np.isfinite(m) & np.isfinite(p) & np.isfinite(u_m) & np.isfinite(u_p)
    if known.sum() < max(5, 0.5 * len(times)):
        return None
    rms = math.sqrt(float(np.mean(m[known] ** 2)))
    if rms <= least_rms:
        return None
    error, u = (p - m)[known], np.hypot(u_p, u_m)[known]
    crps = np.mean(crps_gaussian(p[known], np.maximum(u, 1e-9 * rms), m[known]))
    shift = _shift(predicted, times, np.where(known, m, np.nan), until_s - from_s)
    return Apart(
        distance_ratio=math.sqrt(float(np.mean(error**2))) / rms,
        shift_s=shift[0],
        u_shift_s=shift[1],
        size_ratio=shift[2],
        u_size_ratio=shift[3],
        shape_ratio=shift[4] / rms,
        inside_ratio=float(np.mean(np.abs(error) <= K_95 * u)),
        crps_ratio=float(crps) / rms,
    )


def _shift(
    predicted: tuple[FloatArray, FloatArray, FloatArray], times: FloatArray, m: FloatArray, span_s: float
) -> tuple[float, float, float, float, float]:
    """Shift and u, size and u, and the rms that is left."""
    most = min(FURTHEST_S, FURTHEST_RATIO * span_s)
    count = math.floor(most / STEP_S)
    shifts = STEP_S * np.arange(-count, count + 1)
    fits = [_size(_held(predicted, times + shift), m) for shift in shifts]
    left = np.array([fit[1] for fit in fits])
    independent = span_s / LASTS_S
    unshifted = fits[count]
    plain = (math.nan, math.nan, *_size_with_u(unshifted, independent), math.sqrt(unshifted[1]))
    best = int(np.argmin(left))
    size, here, square = fits[best]
    if independent < LEAST_INDEPENDENT or best in (0, len(shifts) - 1) or not math.isfinite(size):
        return plain
    # How fast the prediction changes, but for what a change of size does too.
    p = _held(predicted, times + shifts[best])
    slope = np.gradient(p, STEP_S)
    slope -= p * float(np.mean(slope * p)) / square
    steepness = float(np.mean((slope / size) ** 2))
    if not steepness > 0:
        return plain
    u_s = math.hypot(math.sqrt(here / steepness / max(independent - 2, 1.0)), STEP_S / math.sqrt(12))
    if u_s > most / 2:
        return plain
    before, after = left[best - 1], left[best + 1]
    bend = before - 2 * here + after
    shift_s = float(shifts[best] + (STEP_S * (before - after) / (2 * bend) if bend > 0 else 0.0))
    return shift_s, u_s, *_size_with_u(fits[best], independent), math.sqrt(here)


def _held(curve: tuple[FloatArray, FloatArray, FloatArray], at_s: FloatArray) -> FloatArray:
    """A predicted curve at moments, held at its first and last value beyond its ends: before the start all stands."""
    t_s, values, _ = curve
    known = np.isfinite(values)
    return np.asarray(np.interp(at_s, t_s[known], values[known]), dtype=np.float64)


def _size(p: FloatArray, m: FloatArray) -> tuple[float, float, float]:
    """Size ratio predicted/measured, mean square that is left, and mean square of the prediction."""
    known = np.isfinite(p) & np.isfinite(m)
    square = float(np.mean(p[known] ** 2))
    along = float(np.mean(p[known] * m[known]))
    if not (along > 0 and square > 0):
        return math.nan, float(np.mean(m[known] ** 2)), square
    factor = along / square
    return 1.0 / factor, float(np.mean((m[known] - factor * p[known]) ** 2)), square


def _size_with_u(fit: tuple[float, float, float], independent: float) -> tuple[float, float]:
    size, left, square = fit
    if not (math.isfinite(size) and square > 0):
        return math.nan, math.nan
    u_factor = math.sqrt(left / square / max(independent - 1, 1.0))
    return size, size**2 * u_factor


def _read(curve: tuple[FloatArray, FloatArray, FloatArray], at_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values and u at moments, by straight lines over what is known, no further than a step beyond a gap's edge."""
    t_s, values, u = curve
    known = np.isfinite(values) & np.isfinite(u) & np.isfinite(t_s)
    if known.sum() < 2:
        return np.full(len(at_s), np.nan), np.full(len(at_s), np.nan)
    t, v, spread = t_s[known], values[known], u[known]
    usual = 2.5 * float(np.median(np.diff(t)))
    after = np.clip(np.searchsorted(t, at_s), 1, len(t) - 1)
    inside = (t[after] - t[after - 1] <= max(usual, 2.5 * STEP_S)) & (at_s >= t[0] - 1e-9) & (at_s <= t[-1] + 1e-9)
    blank = np.where(inside, 0.0, np.nan)
    return np.interp(at_s, t, v) + blank, np.interp(at_s, t, spread) + blank
