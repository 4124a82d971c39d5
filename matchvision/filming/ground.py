"""The table's surface where it is not flat: its height, how a machine stands on it, how taut rope goes over it.

A profile z(x) is a row of straight pieces. Angles are taken in the plane y = constant; across the table it is level.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from matchvision.filming.arrays import Array
from matchvision.filming.scene import Machine, Rope, Table

GRAVITY_M_S2 = 9.81  # where the invented table stands: not the standard value, which a sheet cannot know
GRID_M = 0.0005  # spacing of the places at which a machine's stand on the profile is tabled
SPARE_M = 0.6  # the outer pieces go on beyond the table's ends for so far

Corner = tuple[float, float, float]


@dataclass(frozen=True)
class Piece:
    """A plane piece of the surface, between two places along x; ``height_m`` is at x = 0 if it went on so far."""

    from_m: float
    to_m: float
    slope: float
    height_m: float


def pieces_of(table: Table) -> list[Piece]:
    """The surface's plane pieces from -x to +x, cut to the table's length; one level piece for a flat table."""
    half = table.length_m / 2
    found = []
    points = table.profile_m or ((-half, 0.0), (half, 0.0))
    for (x0, z0), (x1, z1) in pairwise(points):
        slope = (z1 - z0) / (x1 - x0)
        if x1 > -half and x0 < half:
            found.append(Piece(max(x0, -half), min(x1, half), slope, z0 - slope * x0))
    return found


def piece_at(table: Table, x_m: float) -> Piece:
    """The piece at a place; beyond the table's ends the outer one."""
    pieces = pieces_of(table)
    return next((p for p in pieces if x_m < p.to_m), pieces[-1])


def surface_m(table: Table, x_m: Array) -> Array:
    """Height of the surface at x; beyond the ends the outer pieces go on."""
    *inner, last = pieces_of(table)
    height = last.height_m + last.slope * x_m
    for piece in reversed(inner):
        height = np.where(x_m < piece.to_m, piece.height_m + piece.slope * x_m, height)
    return np.asarray(height)


def kinks_of(table: Table, above_m: float = 0.0) -> list[tuple[float, float]]:
    """Places x, z at which two pieces meet on the table, raised by ``above_m``."""
    return [(p.to_m, p.height_m + p.slope * p.to_m + above_m) for p in pieces_of(table)[:-1]]


def bends_of(table: Table, rope: Rope) -> list[tuple[float, float]]:
    """Places x, z over which the rope may bend: crests, raised by the beads' radius, and a pulley."""
    return kinks_of(table, rope.bead_radius_m) + ([] if rope.pulley_m is None else [rope.pulley_m])


@dataclass(frozen=True)
class Footing:
    """How one machine stands at each place x of its origin: height, tilt of its plane and climb dz/dx of its path."""

    x_m: Array
    z_m: Array
    tilt_rad: Array
    climb: Array

    def at(self, x_m: float) -> tuple[float, float, float]:
        """Height [m], tilt [rad] and climb at one place."""
        place = (x_m - self.x_m[0]) / GRID_M
        k = min(max(int(place), 0), len(self.x_m) - 2)
        part = place - k
        return (
            float(self.z_m[k] + part * (self.z_m[k + 1] - self.z_m[k])),
            float(self.tilt_rad[k] + part * (self.tilt_rad[k + 1] - self.tilt_rad[k])),
            float(self.climb[k]),
        )


def footing_of(machine: Machine, table: Table) -> Footing | None:
    """Footing of a machine on the table; None on a flat one.

    Notes
    -----
    The two ends of the contact length (axles of a wheeled machine, edges of a load) stand on the surface with the
    origin midway in x: sin(tilt) = (z_front - z_rear) / length, found by iteration. A load, which has no room under it,
    is lifted until no crest reaches into it. The same for either heading, and for small yaw.

    Checked by: tests/filming/test_ground.py::test_both_axles_stand_on_the_surface
    """
    if not table.profile_m:
        return None
    half = machine.wheelbase_m / 2 if machine.drive else machine.size_m[0] / 2
    count = math.ceil((table.length_m / 2 + SPARE_M) / GRID_M)
    x = np.arange(-count, count + 1) * GRID_M
    tilt = np.zeros_like(x)
    for _ in range(30):
        reach = half * np.cos(tilt)
        rise = surface_m(table, x + reach) - surface_m(table, x - reach)
        tilt = np.arcsin(np.clip(rise / (2 * half), -0.9, 0.9))
    reach = half * np.cos(tilt)
    z = (surface_m(table, x + reach) + surface_m(table, x - reach)) / 2
    if machine.drive is None:
        lift = np.zeros_like(x)
        for kink_x, kink_z in kinks_of(table):
            under = np.abs(kink_x - x) < reach
            lift = np.maximum(lift, np.where(under, kink_z - z - (kink_x - x) * np.tan(tilt), 0.0))
        z = z + lift
    return Footing(x, z, tilt, np.append(np.diff(z) / GRID_M, 0.0))


def axes(heading_rad: Array, tilt_rad: Array) -> Array:
    """Forward, left and up of a machine in the table frame, as columns: (n, 3, 3) for n headings and tilts.

    ``heading_rad`` counts within the tilted plane, from its direction towards +x.
    """
    cos, sin = np.cos(heading_rad), np.sin(heading_rad)
    level, steep = np.cos(tilt_rad), np.sin(tilt_rad)
    rows = [
        [cos * level, -sin * level, -steep],
        [sin, cos, np.zeros_like(sin)],
        [cos * steep, -sin * steep, level],
    ]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


def taut_corners(a: Corner, b: Corner, kinks: Sequence[tuple[float, float]]) -> list[Corner]:
    """Corners of a taut rope from a to b, both included: straight, or bent over the crests that are in the way.

    Notes
    -----
    Without friction at a crest the rope takes the shortest way: in x and z the upper hull of its ends and the crests
    between them; laid out flat, that way is one straight line, so y goes linearly with the distance along the hull.

    Checked by: tests/filming/test_ground.py::test_taut_rope_takes_the_shortest_way
    """
    sign = 1.0 if b[0] >= a[0] else -1.0
    between = [(x, z) for x, z in kinks if min(a[0], b[0]) < x < max(a[0], b[0])]
    between.sort(key=lambda point: sign * point[0])
    hull = [(a[0], a[2])]
    for x, z in [*between, (b[0], b[2])]:
        while len(hull) > 1 and sign * (
            (hull[-1][0] - hull[-2][0]) * (z - hull[-2][1]) - (hull[-1][1] - hull[-2][1]) * (x - hull[-2][0])
        ) >= 0:  # fmt: skip
            hull.pop()
        hull.append((x, z))
    if len(hull) == 2:
        return [a, b]
    along = [0.0]
    for p, q in pairwise(hull):
        along.append(along[-1] + math.dist(p, q))
    return [(x, a[1] + (b[1] - a[1]) * s / along[-1], z) for (x, z), s in zip(hull, along, strict=True)]


def taut_curves(a: Array, b: Array, kinks: Sequence[tuple[float, float]], points: int) -> Array:
    """Taut ropes at n times as curves of evenly spread points with one at each bend, shape (n, points, 3)."""
    share = np.linspace(0, 1, points)
    curves = a[:, None] + share[None, :, None] * (b - a)[:, None]
    if not kinks:
        return np.asarray(curves)
    for k in range(len(a)):
        corners = np.array(taut_corners(_corner(a[k]), _corner(b[k]), kinks))
        if len(corners) == 2:
            continue
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
        places = share * along[-1]
        for bend in along[1:-1]:
            places[np.abs(places - bend).argmin()] = bend
        curves[k] = np.stack([np.interp(places, along, corners[:, axis]) for axis in range(3)], axis=-1)
    return np.asarray(curves)


def _corner(point: Array) -> Corner:
    return float(point[0]), float(point[1]), float(point[2])


def shadows_of(points_m: Array, lamp: Array, table: Table) -> Array:
    """Where the lamp throws points (k, 3) onto the surface, (k, 3); ``lamp`` points towards it."""
    drift = lamp[:2] / lamp[2]
    ground = points_m[:, :2] - drift * points_m[:, 2:]
    height: Array = np.zeros(len(points_m))
    for _ in range(8 if table.profile_m else 0):
        height = surface_m(table, ground[:, 0])
        ground = points_m[:, :2] - drift * (points_m[:, 2] - height)[:, None]
    return np.column_stack([ground, height])
