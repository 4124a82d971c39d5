"""The table's height profile z(x): flat, ridged or ramped."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def surface_height(profile_m: Sequence[tuple[float, float]], x_m: npt.ArrayLike) -> FloatArray:
    """Height [m] of the table's surface at x, by straight lines between the profile's points; 0 without a profile."""
    x = np.asarray(x_m, dtype=np.float64)
    if not profile_m:
        return np.zeros_like(x)
    along, height = np.array(sorted(profile_m), dtype=np.float64).T
    return np.asarray(np.interp(x, along, height), dtype=np.float64)


def surface_slope(profile_m: Sequence[tuple[float, float]], x_m: npt.ArrayLike) -> FloatArray:
    """Slope dz/dx of the table's surface at x; at a kink that of the piece towards +x, beyond the ends 0."""
    x = np.asarray(x_m, dtype=np.float64)
    if len(profile_m) < 2:
        return np.zeros_like(x)
    along, height = np.array(sorted(profile_m), dtype=np.float64).T
    slopes = np.concatenate([[0.0], np.diff(height) / np.diff(along), [0.0]])
    return np.asarray(slopes[np.searchsorted(along, x, side="right")], dtype=np.float64)


def travel_along_surface(profile_m: Sequence[tuple[float, float]], x_m: npt.ArrayLike) -> FloatArray:
    """Distance [m] along the surface from x = 0 to x, positive towards +x."""
    x = np.asarray(x_m, dtype=np.float64)
    if len(profile_m) < 2:
        return x.copy()
    along, height = np.array(sorted(profile_m), dtype=np.float64).T
    knots = np.unique(np.concatenate([along, [0.0]]))
    lengths = np.hypot(np.diff(knots), np.diff(np.interp(knots, along, height)))
    travel = np.concatenate([[0.0], np.cumsum(lengths)])
    travel -= travel[np.searchsorted(knots, 0.0)]
    beyond = np.clip(x, knots[0], knots[-1])
    return np.asarray(np.interp(x, knots, travel) + (x - beyond), dtype=np.float64)
