"""How far to search for a marker that is not where it was expected, without taking another for it."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.tracks import MarkerPlan

#: Margin of a small window beyond the marker, and the widest half-window ever searched on the rope [px].
MARGIN_PX: Final = 6.0
_WIDEST_PX: Final = 60.0
#: Share of the distance to the nearest marker of the same colour within which names cannot change places.
_OWN_GROUND_RATIO: Final = 0.45
#: Half-window around a rim mark in radii of its circle: with the wheel's angle known, and with any angle.
_CIRCLES: Final = (0.6, 1.3)


def rope_rivals(plans: Sequence[MarkerPlan]) -> npt.NDArray[np.bool_]:
    """Which pairs of markers (m, m) could be taken for each other: on the rope, and of one colour."""
    colours = np.array([p.colour for p in plans])
    on_rope = np.array([p.kind in {"bead", "link"} for p in plans], dtype=np.bool_)
    alike = (colours[:, None] == colours[None]) & on_rope[:, None] & on_rope[None]
    return np.asarray(alike & ~np.eye(len(plans), dtype=np.bool_), dtype=np.bool_)


def widen(
    plans: Sequence[MarkerPlan],
    rivals: npt.NDArray[np.bool_],
    radius_px: FloatArray,
    expected_px: FloatArray,
    wheel_known: Sequence[bool],
) -> FloatArray:
    """Half-windows (m,) for the second, wider search [px].

    Parameters
    ----------
    rivals : (m, m) bool array
        As `rope_rivals` gives it.
    radius_px : (m,) float array
        Of the markers' pictures.
    expected_px : (m, 2) float array
    wheel_known : sequence of bool
        Whether the angle of a rim mark's wheel is known; ignored for other markers.

    Notes
    -----
    Checked by: tests/markers/test_widening.py::test_rope_windows_stay_clear_of_rivals
    """
    wide = radius_px + 4 * MARGIN_PX
    apart = np.hypot(*(expected_px[:, None] - expected_px[None]).transpose(2, 0, 1))
    nearest = np.where(rivals & np.isfinite(apart), apart, np.inf).min(axis=1, initial=np.inf)
    for i, plan in enumerate(plans):
        if plan.kind in {"bead", "link"}:
            wide[i] = max(min(_OWN_GROUND_RATIO * nearest[i], _WIDEST_PX), radius_px[i] + 1.0)
        elif plan.kind == "rim":
            wide[i] = radius_px[i] * (1 + _CIRCLES[0 if wheel_known[i] else 1] * plan.circle_m / plan.radius_m)
    return np.asarray(wide, dtype=np.float64)
