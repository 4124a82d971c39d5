"""Bodies seen from above as turned rectangles, and the gap between two of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.motion import MachineMotion
from matchvision.records.sheet import Machine

#: How well a sheet states where a body ends: bumpers, tyres and rounded corners (assumption, k = 1) [m].
U_OUTLINE_M: Final = 0.002


@dataclass(frozen=True, eq=False)
class Footprint:
    """A rectangle over time: middle (n,), heading (n,), and its two sides.

    Attributes
    ----------
    x_m, y_m, heading_rad : (n,) float arrays
    length_m, width_m : along the heading and across it
    u_x_m, u_y_m, u_heading_rad : (n,) float arrays
    u_size_m : how well its sides are known, each end of it
    """

    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
    length_m: float
    width_m: float
    u_x_m: FloatArray
    u_y_m: FloatArray
    u_heading_rad: FloatArray
    u_size_m: float

    @property
    def axes(self) -> FloatArray:
        """Unit vectors (n, 2, 2) along the heading and across it."""
        c, s = np.cos(self.heading_rad), np.sin(self.heading_rad)
        return np.stack([np.stack([c, s], axis=-1), np.stack([-s, c], axis=-1)], axis=1)

    def half_along(self, direction: FloatArray) -> FloatArray:
        """Half its extent (n,) along unit vectors (n, 2)."""
        share = np.abs(np.einsum("nij,nj->ni", self.axes, direction))
        return np.asarray(share @ (np.array([self.length_m, self.width_m]) / 2))


def gap_between(first: Footprint, second: Footprint) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gap (n,) between two rectangles, its uncertainty (n,), and the direction (n, 2) from the first to the second.

    The gap is negative where they overlap, by how much. Where corner faces corner it is the gap along the sides'
    directions, which is a little less than their distance. NaN where either is not known.

    Notes
    -----
    Separating axes: S. Gottschalk, M. C. Lin, D. Manocha, "OBBTree", Proc. SIGGRAPH 96, p. 171, section 5: two turned
    boxes are apart exactly if they are along one of their own sides.
    Checked by: tests/geometry/test_footprints.py::test_gap_of_turned_rectangles
    """
    apart = np.stack([second.x_m - first.x_m, second.y_m - first.y_m], axis=-1)
    n = len(apart)
    best, way = np.full(n, -np.inf), np.zeros((n, 2))
    for axis in (*np.moveaxis(first.axes, 1, 0), *np.moveaxis(second.axes, 1, 0)):
        along = np.einsum("ni,ni->n", apart, axis)
        clear = np.abs(along) - first.half_along(axis) - second.half_along(axis)
        better = clear > best
        best = np.where(better, clear, best)
        way = np.where(better[:, None], np.sign(along)[:, None] * axis, way)
    known = np.isfinite(apart).all(axis=-1) & np.isfinite(first.heading_rad) & np.isfinite(second.heading_rad)
    variance = np.zeros(n)
    for one in (first, second):
        variance += (way[:, 0] * one.u_x_m) ** 2 + (way[:, 1] * one.u_y_m) ** 2 + one.u_size_m**2
        # A turn moves the far corner by half the other side.
        variance += (np.minimum(one.length_m, one.width_m) / 2 * one.u_heading_rad) ** 2
    return np.where(known, best, np.nan), np.where(known, np.sqrt(variance), np.nan), way


def nearest_gap(first: Sequence[Footprint], second: Sequence[Footprint]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """As `gap_between`, of those two rectangles of each that lie nearest in each frame; at least one of each."""
    gaps = [gap_between(one, other) for one in first for other in second]
    gap, u, way = (np.stack(parts) for parts in zip(*gaps, strict=True))
    nearest = np.argmin(np.where(np.isfinite(gap), gap, np.inf), axis=0)
    frames = np.arange(gap.shape[1])
    return gap[nearest, frames], u[nearest, frames], way[nearest, frames]


def outline_of(moved: MachineMotion, machine: Machine) -> tuple[Footprint, ...]:
    """A machine's bodies over time; none where the sheet does not say how large it is.

    A heading that is not measured is taken as the home direction.
    """
    if machine.size_m is None:
        return ()
    home_deg = 0.0 if machine.home == "+x" else 180.0
    known = np.isfinite(moved.heading_deg)
    heading = np.where(known, moved.heading_deg, home_deg)
    u_heading = np.where(known, moved.u_heading_deg, 5.0)
    turn, u_turn = np.deg2rad(heading), np.deg2rad(u_heading)
    c, s = np.cos(turn), np.sin(turn)
    places = [(0.0, 0.0, machine.size_m), *((*body.at_m[:2], body.size_m) for body in machine.body)]
    return tuple(
        Footprint(
            moved.x_m + c * x - s * y, moved.y_m + s * x + c * y, turn, size[0], size[1],
            np.hypot(moved.u_x_m, (s * x + c * y) * u_turn), np.hypot(moved.u_y_m, (c * x - s * y) * u_turn), u_turn,
            U_OUTLINE_M,
        )
        for x, y, size in places
    )  # fmt: skip


def wall_outline(machine: Machine, n: int) -> Footprint | None:
    """Outline, for n frames, of the wall that a machine has set; None without one, or where nobody says where it is."""
    wall = machine.blocker
    if wall is None or wall.at_m is None:
        return None
    none, one = np.zeros(n), np.ones(n)
    place = (wall.at_m[0] * one, wall.at_m[1] * one, np.deg2rad(wall.angle_deg) * one)
    return Footprint(*place, wall.size_m[0], wall.size_m[1], none, none, none, U_OUTLINE_M)
