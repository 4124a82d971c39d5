"""The table's surface as the machines travel over it: a row of straight pieces, level across.

Beyond the profile's ends the outer pieces go on.
"""

from functools import lru_cache
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.records.profile import crests_of

Profile = tuple[tuple[float, float], ...]

#: How far beyond the profile's ends machines are followed [m], and the standing tables' grid [m].
SPARE_M: Final = 3.0
GRID_M: Final = 0.002
#: Radius [m] of the edges on which a body without wheels slides.
EDGE_RADIUS_M: Final = 0.004
_FINE_M: Final = 0.0005


@lru_cache(maxsize=32)
def _wheel_path(profile_m: Profile, radius_m: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Travel, x and z (k,) of a wheel's middle as it rolls over the surface; travel 0 where the table's x is 0.

    Over a crest it turns about the edge, in a hollow it goes from one piece to the other where it touches both.
    """
    points = np.array(sorted(profile_m), dtype=np.float64)
    first, last = points[1] - points[0], points[-1] - points[-2]
    points[0] -= first / first[0] * SPARE_M
    points[-1] += last / last[0] * SPARE_M
    tilts = np.arctan2(np.diff(points[:, 1]), np.diff(points[:, 0]))
    normals = np.column_stack([-np.sin(tilts), np.cos(tilts)])
    corners: list[FloatArray] = [points[:1] + radius_m * normals[:1]]
    for k in range(1, len(tilts)):
        bend = tilts[k] - tilts[k - 1]
        if bend < 0:
            turned = np.linspace(tilts[k - 1], tilts[k], 2 + int(abs(bend) * radius_m / _FINE_M * 4))
            corners.append(points[k] + radius_m * np.column_stack([-np.sin(turned), np.cos(turned)]))
        else:
            along = np.array([np.cos(tilts[k]), np.sin(tilts[k])])
            corners.append((points[k] + radius_m * (normals[k] + np.tan(bend / 2) * along))[None])
    corners.append(points[-1:] + radius_m * normals[-1:])
    way = np.concatenate(corners)
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    return travel - np.interp(0.0, way[:, 0], travel), way[:, 0], way[:, 1]


@lru_cache(maxsize=64)
def stand_table(profile_m: Profile, contact_m: float, radius_m: float) -> FloatArray:
    """How a body stands as it travels: (k, 6) on the even grid of `grid_of`, in the order of the layout.

    Parameters
    ----------
    profile_m : points (x, z) of the surface.
    contact_m : distance between its axles, or the edges on which it slides.
    radius_m : of its wheels; 0 for a body that slides.

    Notes
    -----
    Both axles stay the contact length apart on the way of the wheels' middles; for each place of the rear one the other
    is found by bisection. Travel is the mean of both wheels' travel. A body that slides has no room under it: where a
    crest would reach into it, it is lifted.
    Checked by: tests/derived/test_ridge_match.py::test_standing_is_what_both_axles_say
    """
    # Slow to load, and wanted on a table with a profile only.
    from scipy.interpolate import CubicSpline

    round_m = radius_m or EDGE_RADIUS_M
    travel, way_x, way_z = _wheel_path(profile_m, round_m)
    rear = np.arange(travel[0], travel[-1] - 2 * contact_m, _FINE_M * 2)
    rear_x, rear_z = np.interp(rear, travel, way_x), np.interp(rear, travel, way_z)
    low, high = np.full_like(rear, 0.5 * contact_m), np.full_like(rear, 2 * contact_m)
    for _ in range(45):
        ahead = 0.5 * (low + high)
        x, z = np.interp(rear + ahead, travel, way_x), np.interp(rear + ahead, travel, way_z)
        short = np.hypot(x - rear_x, z - rear_z) < contact_m
        low, high = np.where(short, ahead, low), np.where(short, high, ahead)
    front = rear + 0.5 * (low + high)
    front_x, front_z = np.interp(front, travel, way_x), np.interp(front, travel, way_z)
    tilt = np.arctan2(front_z - rear_z, front_x - rear_x)
    middle_x, middle_z = 0.5 * (rear_x + front_x), 0.5 * (rear_z + front_z)
    x, z = middle_x + round_m * np.sin(tilt), middle_z - round_m * np.cos(tilt)
    if radius_m == 0:
        for crest_x, crest_z in crests_of(profile_m, 0.0):
            under = np.abs(crest_x - x) < 0.5 * contact_m * np.cos(tilt)
            into = np.where(under, (crest_z - z) * np.cos(tilt) - (crest_x - x) * np.sin(tilt), 0.0)
            x, z = x - np.maximum(into, 0.0) * np.sin(tilt), z + np.maximum(into, 0.0) * np.cos(tilt)
    at_travel = 0.5 * (rear + front)
    first, count = grid_of(profile_m)
    grid = first + GRID_M * np.arange(count)
    out = np.empty((count, 6))
    for column, rate, values in (
        (at.STAND_X, at.STAND_DX, x), (at.STAND_Z, at.STAND_DZ, z), (at.STAND_TILT, at.STAND_DTILT, tilt)
    ):  # fmt: skip
        spline = CubicSpline(at_travel, values)
        out[:, column], out[:, rate] = spline(grid), spline(grid, 1)
    out.flags.writeable = False
    return out


def grid_of(profile_m: Profile) -> tuple[float, int]:
    """First place of the standing tables' even grid and how many there are: as far as machines are followed."""
    ends = [x for x, _ in profile_m]
    first = min(ends) - SPARE_M + 0.8
    return first, int((max(ends) - min(ends) + 2 * (SPARE_M - 0.8)) / GRID_M)


def travel_at(profile_m: Profile, table: FloatArray, x_m: float) -> float:
    """Travel [m] at which a body's origin is at x."""
    first, count = grid_of(profile_m)
    return float(np.interp(x_m, table[:, at.STAND_X], first + GRID_M * np.arange(count)))
