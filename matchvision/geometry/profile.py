"""The table's height profile z(x): flat, ridged or ramped."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray


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
