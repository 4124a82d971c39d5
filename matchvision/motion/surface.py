"""How machines stand on the table's surface, and how rope goes over its crests.

A profile z(x) is a row of straight pieces; across the table it is level. Beyond its ends the outer pieces go on.
"""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.profile import Profile, crests_of, is_level
from matchvision.records.sheet import Machine

#: Spacing of the table of standing poses along x [m].
GRID_M = 0.001
#: How far beyond the profile's ends machines may stand [m].
SPARE_M = 0.5
#: Distance between the places on which a machine stands whose sheet gives neither wheelbase nor size [m].
USUAL_CONTACT_M = 0.15
#: Turns that bring a line of sight onto a slope; each gains a factor of five or more on slopes below 10°.
TURNS = 12


@dataclass(frozen=True, eq=False)
class Ground:
    """Where a machine stands as it travels, by travel along its origin's path; travel is 0 at x = 0.

    Attributes
    ----------
    path_m, x_m, z_m, tilt_rad : (k,) float arrays
        The tilt rises towards +x. Empty on a level table, where travel is x.
    """

    path_m: FloatArray
    x_m: FloatArray
    z_m: FloatArray
    tilt_rad: FloatArray

    @property
    def level(self) -> bool:
        """Whether the table is flat."""
        return len(self.path_m) == 0

    def stand(self, path_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Origin's x and z [m] and tilt [rad] at travels along the path."""
        if self.level:
            return path_m, np.zeros_like(path_m), np.zeros_like(path_m)
        return (
            np.interp(path_m, self.path_m, self.x_m),
            np.interp(path_m, self.path_m, self.z_m),
            np.interp(path_m, self.path_m, self.tilt_rad),
        )

    def travel(self, x_m: FloatArray) -> FloatArray:
        """Travel along the path at which the origin is at x."""
        return x_m if self.level else np.asarray(np.interp(x_m, self.x_m, self.path_m))

    def climb(self, path_m: FloatArray) -> FloatArray:
        """Angle at which the path rises towards +x [rad]."""
        if self.level:
            return np.zeros_like(path_m)
        ahead, behind = self.stand(path_m + GRID_M), self.stand(path_m - GRID_M)
        return np.asarray(np.arctan2(ahead[1] - behind[1], ahead[0] - behind[0]))


def surface_at(profile_m: Profile, x_m: FloatArray) -> FloatArray:
    """Height of the surface [m] at x; beyond the profile's ends its outer pieces go on."""
    x = np.asarray(x_m, dtype=np.float64)
    if is_level(profile_m):
        return np.zeros_like(x)
    along, height = np.array(sorted(profile_m), dtype=np.float64).T
    first = (height[1] - height[0]) / (along[1] - along[0])
    last = (height[-1] - height[-2]) / (along[-1] - along[-2])
    beyond = first * np.minimum(x - along[0], 0.0) + last * np.maximum(x - along[-1], 0.0)
    return np.asarray(np.interp(x, along, height) + beyond)


def ground_under(machine: Machine, profile_m: Profile) -> Ground:
    """The ground on which a machine stands.

    Notes
    -----
    It stands with both ends of its contact length on the surface: the axles (``wheelbase_m``), or for a body without
    wheels the edges of ``size_m``. The origin lies midway. For each place of the rear end the front one is found by
    bisection of the chord's length. A dragged body has no room under it: it is lifted where a crest would reach into
    it.
    Checked by: tests/derived/test_ridge.py::test_both_axles_stand_on_the_surface
    """
    if is_level(profile_m):
        nothing = np.zeros(0)
        return Ground(nothing, nothing, nothing, nothing)
    wheeled = machine.wheelbase_m is not None
    contact = machine.wheelbase_m or (machine.size_m[0] if machine.size_m is not None else USUAL_CONTACT_M)
    ends = [x for x, _ in profile_m]
    rear = np.arange(min(ends) - SPARE_M, max(ends) + SPARE_M, GRID_M)
    rear_z = surface_at(profile_m, rear)
    low, high = np.zeros_like(rear), np.full_like(rear, contact)
    for _ in range(50):
        reach = 0.5 * (low + high)
        short = np.hypot(reach, surface_at(profile_m, rear + reach) - rear_z) < contact
        low, high = np.where(short, reach, low), np.where(short, high, reach)
    reach = 0.5 * (low + high)
    front_z = surface_at(profile_m, rear + reach)
    x, z, tilt = rear + 0.5 * reach, 0.5 * (rear_z + front_z), np.arctan2(front_z - rear_z, reach)
    if not wheeled:
        lift = np.zeros_like(x)
        for crest_x, crest_z in crests_of(profile_m):
            under = np.abs(crest_x - x) < 0.5 * reach
            lift = np.maximum(lift, np.where(under, crest_z - z - (crest_x - x) * np.tan(tilt), 0.0))
        z = z + lift
    path = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(z)))])
    return Ground(path - np.interp(0.0, x, path), x, z, tilt)


def axes_of(heading_rad: FloatArray, tilt_rad: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Forward, left and up (n, 3) of machines whose heading counts within their tilted plane."""
    c, s, level, steep = np.cos(heading_rad), np.sin(heading_rad), np.cos(tilt_rad), np.sin(tilt_rad)
    return (
        np.stack([c * level, s, c * steep], axis=-1),
        np.stack([-s * level, c, -s * steep], axis=-1),
        np.stack([-steep, 0 * s, level], axis=-1),
    )


def raise_above(profile_m: Profile, foot: FloatArray, lever: FloatArray, above_m: FloatArray) -> FloatArray:
    """Heights above the table's origin at which lines of sight, foot + lever · z, are ``above_m`` over the surface."""
    above = np.broadcast_to(above_m, foot.shape[:-1])
    z = np.array(above, dtype=np.float64)
    if not is_level(profile_m):
        for _ in range(TURNS):
            z = surface_at(profile_m, foot[..., 0] + lever[..., 0] * z) + above
    return z


@dataclass(frozen=True, eq=False)
class TautWay:
    """The way of a taut rope between its hitches (n of them): straight, or bent over the crests that are in the way.

    Attributes
    ----------
    x_m, z_m : (n, c) float arrays
        Corners from the first hitch to the last; the last is repeated where there are fewer.
    ends_m : (n, 2, 3) float array
    length_m : (n,) float array
    """

    x_m: FloatArray
    z_m: FloatArray
    ends_m: FloatArray
    length_m: FloatArray

    def height_at(self, x_m: FloatArray) -> FloatArray:
        """Heights (n, m) of the rope at x (n, m), straight on beyond the hitches."""
        first, last = self.x_m[:, :1], self.x_m[:, -1:]
        if self.x_m.shape[1] == 2:
            share = (x_m - first) / (last - first)
            return np.asarray(self.z_m[:, :1] + share * (self.z_m[:, 1:] - self.z_m[:, :1]))
        z = np.full(np.shape(x_m), np.nan)
        for k, (corner_x, corner_z) in enumerate(zip(self.x_m, self.z_m, strict=True)):
            order = np.argsort(corner_x, kind="stable")
            z[k] = np.interp(x_m[k], corner_x[order], corner_z[order])
        return z

    @property
    def bend_m(self) -> FloatArray:
        """How far (n, c) each corner stands above the straight line between the hitches."""
        first, last = self.x_m[:, :1], self.x_m[:, -1:]
        share = (self.x_m - first) / (last - first)
        return np.asarray(self.z_m - self.z_m[:, :1] - share * (self.z_m[:, -1:] - self.z_m[:, :1]))

    def next_to(self, end: int) -> FloatArray:
        """Corner (n, 3) next to an end's hitch: there the rope leads from the hitch."""
        steps = np.hypot(np.diff(self.x_m, axis=1), np.diff(self.z_m, axis=1))
        whole = steps.sum(axis=1)
        # Padding repeats the last corner, so the last piece that has a length is sought.
        piece = np.zeros(len(whole), dtype=np.int64) if end == 0 else steps.shape[1] - 1 - np.argmax(
            steps[:, ::-1] > 0, axis=1
        )  # fmt: skip
        rows = np.arange(len(whole))
        corner = piece + 1 if end == 0 else piece
        run = np.concatenate([np.zeros((len(whole), 1)), np.cumsum(steps, axis=1)], axis=1)[rows, corner]
        y = self.ends_m[:, 0, 1] + (self.ends_m[:, 1, 1] - self.ends_m[:, 0, 1]) * run / whole
        return np.stack([self.x_m[rows, corner], y, self.z_m[rows, corner]], axis=-1)


def taut_way(ends_m: FloatArray, profile_m: Profile, radius_m: float) -> TautWay:
    """The shortest way between two hitches (n, 2, 3) that stays above the crests by the beads' radius.

    Notes
    -----
    In x and z the way is the upper hull of the hitches and the crests between them. Unrolled, it is one straight line,
    so y changes evenly along it and the length is the hypotenuse of hull and sideways distance.
    Checked by: tests/derived/test_ridge.py::test_rope_over_a_crest
    """
    crests = crests_of(profile_m, radius_m)
    n = len(ends_m)
    corner_x, corner_z = (np.repeat(ends_m[:, :1, i], len(crests) + 2, axis=1) for i in (0, 2))
    corner_x[:, -1], corner_z[:, -1] = ends_m[:, 1, 0], ends_m[:, 1, 2]
    for k in range(n if len(crests) else 0):
        if not np.isfinite(ends_m[k]).all():
            continue
        hull = _upper_hull(ends_m[k, 0, [0, 2]], ends_m[k, 1, [0, 2]], crests)
        corner_x[k, : len(hull)], corner_z[k, : len(hull)] = hull.T
        corner_x[k, len(hull) :], corner_z[k, len(hull) :] = hull[-1]
    steps = np.hypot(np.diff(corner_x, axis=1), np.diff(corner_z, axis=1)).sum(axis=1)
    return TautWay(corner_x, corner_z, ends_m, np.hypot(steps, ends_m[:, 1, 1] - ends_m[:, 0, 1]))


def _upper_hull(first: FloatArray, last: FloatArray, crests: FloatArray) -> FloatArray:
    """Corners (c, 2) of the upper hull from one hitch to the other, x and z."""
    sign = 1.0 if last[0] >= first[0] else -1.0
    between = crests[(sign * (crests[:, 0] - first[0]) > 0) & (sign * (last[0] - crests[:, 0]) > 0)]
    hull = [first]
    for point in [*between[np.argsort(sign * between[:, 0])], last]:
        while len(hull) > 1:
            before, edge = hull[-1] - hull[-2], point - hull[-2]
            if sign * (before[0] * edge[1] - before[1] * edge[0]) < 0:
                break
            hull.pop()
        hull.append(point)
    return np.array(hull)
