"""Machines on the table's surface: position, heading, and the slope on which they stand."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_at_height
from matchvision.geometry.profile import surface_height, surface_slope
from matchvision.records.camera import Camera

Profile = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Pose:
    """A machine on the table: its origin [m], its heading about the surface's normal and the surface's slope [rad]."""

    x_m: float
    y_m: float
    heading_rad: float
    z_m: float = 0.0
    slope_rad: float = 0.0

    @cached_property
    def _turn(self) -> tuple[float, float, float, float]:
        """Cosine and sine of heading and of slope: asked for of each marker."""
        heading, slope = self.heading_rad, self.slope_rad
        return math.cos(heading), math.sin(heading), math.cos(slope), math.sin(slope)

    def place(self, at_m: FloatArray) -> FloatArray:
        """Table points (..., 3) of machine points (..., 3) [m]."""
        at = np.asarray(at_m, dtype=np.float64)
        cosine, sine, level, rise = self._turn
        along = cosine * at[..., 0] - sine * at[..., 1]
        place = np.empty(at.shape)
        place[..., 0] = self.x_m + level * along - rise * at[..., 2]
        place[..., 1] = self.y_m + sine * at[..., 0] + cosine * at[..., 1]
        place[..., 2] = self.z_m + rise * along + level * at[..., 2]
        return place

    def place_one(self, x_m: float, y_m: float, z_m: float) -> tuple[float, float, float]:
        """Table point of a single machine point [m]; numbers, for an array would cost more than the sums."""
        cosine, sine, level, rise = self._turn
        along = cosine * x_m - sine * y_m
        return (
            self.x_m + level * along - rise * z_m,
            self.y_m + sine * x_m + cosine * y_m,
            self.z_m + rise * along + level * z_m,
        )

    def in_profile(self, x_m: float, y_m: float, z_m: float) -> tuple[float, float]:
        """Parts of a table vector along the machine and along its own upright [m]."""
        cosine, sine, level, rise = self._turn
        return cosine * level * x_m + sine * y_m + cosine * rise * z_m, level * z_m - rise * x_m

    @property
    def forward(self) -> FloatArray:
        """Unit vector along the machine, table frame."""
        cosine, sine, level, rise = self._turn
        return np.array([cosine * level, sine, cosine * rise])

    @property
    def left(self) -> FloatArray:
        """Unit vector to the machine's left, table frame."""
        cosine, sine, level, rise = self._turn
        return np.array([-sine * level, cosine, -sine * rise])

    @property
    def up(self) -> FloatArray:
        """Unit vector away from the surface, table frame."""
        _, _, level, rise = self._turn
        return np.array([-rise, 0.0, level])


def stand(x_m: float, y_m: float, heading_rad: float, profile_m: Profile) -> Pose:
    """The pose of a machine that stands on the table's surface there."""
    if not profile_m:
        return Pose(x_m, y_m, heading_rad)
    slope_rad = math.atan(float(surface_slope(profile_m, x_m)))
    return Pose(x_m, y_m, heading_rad, float(surface_height(profile_m, x_m)), slope_rad)


def place_above(camera: Camera, place_px: FloatArray, height_m: float, profile_m: Profile) -> FloatArray:
    """Table points (n, 3) [m] of pixels (n, 2) at a height above the table's surface, whatever its profile."""
    there = place_at_height(camera.parameters, place_px, height_m)
    if profile_m:
        for _ in range(6):
            # A point a little off vertical above a slope is as high above it as one over the same place, to 1 − cos.
            z_m = surface_height(profile_m, np.nan_to_num(there[..., 0])) + height_m
            there = place_at_height(camera.parameters, place_px, z_m)
    return there


def pose_from_pair(
    first_at: FloatArray, second_at: FloatArray, first_m: FloatArray, second_m: FloatArray, profile_m: Profile = ()
) -> Pose:
    """The pose that brings two machine points (3,) onto two table points (3,) as well as can be.

    The heading is that of the line between them; the middle is shared. On a slope each point counts at its foot.
    """
    return _join(first_at.tolist(), second_at.tolist(), first_m.tolist(), second_m.tolist(), profile_m)


def _join(
    first_at: Sequence[float],
    second_at: Sequence[float],
    first_m: Sequence[float],
    second_m: Sequence[float],
    profile_m: Profile,
) -> Pose:
    """As `pose_from_pair`, of numbers."""
    (ax, ay, az), (bx, by, bz) = first_at, second_at
    (px, py, _), (qx, qy, _) = first_m, second_m
    if profile_m:
        rise = math.sin(math.atan(float(surface_slope(profile_m, (px + qx) / 2))))
        px, qx = px + rise * az, qx + rise * bz
    heading = math.atan2(qy - py, qx - px) - math.atan2(by - ay, bx - ax)
    cosine, sine = math.cos(heading), math.sin(heading)
    middle_x, middle_y = (ax + bx) / 2, (ay + by) / 2
    x_m = (px + qx) / 2 - cosine * middle_x + sine * middle_y
    y_m = (py + qy) / 2 - sine * middle_x - cosine * middle_y
    return stand(x_m, y_m, heading, profile_m)


def measure_pose(at_m: FloatArray, place_m: FloatArray, known: Pose | None, profile_m: Profile) -> Pose | None:
    """Pose of a machine from k of its points (k, 3) and their table places (k, 3), NaN places left out.

    Two or more give position and heading (from the two furthest apart); one shifts the pose known before.
    """
    # Two to four points, a few times a frame: arrays would cost more than the sums.
    at, place = at_m.tolist(), place_m.tolist()
    seen = [k for k, (x, y, z) in enumerate(place) if math.isfinite(x + y + z)]
    if len(seen) >= 2:
        i, j = max(itertools.combinations(seen, 2), key=lambda pair: math.dist(at[pair[0]], at[pair[1]]))
        if math.dist(at[i], at[j]) > 0.02:
            return _join(at[i], at[j], place[i], place[j], profile_m)
    if seen and known is not None:
        first = seen[0]
        (x, y, _), (known_x, known_y, _) = place[first], known.place_one(*at[first])
        return stand(known.x_m + x - known_x, known.y_m + y - known_y, known.heading_rad, profile_m)
    return None
