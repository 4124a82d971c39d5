"""The rope as a line of known points, and how much of it lies beyond the centre line."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.geometry.placing import Placing
from matchvision.motion.ropestate import Hitches, RopeState
from matchvision.motion.sighting import Sighting
from matchvision.motion.surface import surface_at
from matchvision.records.profile import Profile, is_level
from matchvision.records.sheet import RopeSheet

#: How far the loose rest of a rope, beyond its last bead, may lie off the straight continuation (share of its length).
U_LOOSE_REST_RATIO = 0.3


@dataclass(frozen=True, eq=False)
class Line:
    """The rope as a line of known points, end to end: k = m + 2 points, the first and last being its ends.

    Attributes
    ----------
    arc_m : (k,) float array
        Arc lengths on the unstretched rope.
    place_m : (n, k, 3) float array
        NaN where not known.
    u_x_own_m, u_x_height_m : (n, k) float arrays
        Uncertainty of x that is new in every frame, and the part that comes from heights and lasts.
    camera_jacobian : (n, k, 15) float array
        Derivatives of x by what the cameras have in common.
    off_centre_m : (n, k) float array
        Distance from the centre line along the rope's own way in x and z, positive on the +x side; x on a level table.
    """

    arc_m: FloatArray
    place_m: FloatArray
    off_centre_m: FloatArray
    u_x_own_m: FloatArray
    u_x_height_m: FloatArray
    camera_jacobian: FloatArray


@dataclass(frozen=True, eq=False)
class Crossing:
    """Unstretched length on the +x side, (n,), with derivatives by the points' x and the centre line's arc length."""

    plus_m: FloatArray
    u_own_m: FloatArray
    u_height_m: FloatArray
    camera_jacobian: FloatArray
    link_share: FloatArray
    arc_m: FloatArray


def lay_line(
    rope: RopeSheet,
    arc_m: FloatArray,
    placing: Placing,
    seen: BoolArray,
    lever_x: FloatArray,
    state: RopeState,
    hitches: Hitches,
    sighting: Sighting,
) -> Line:
    """The rope's known points from end to end; an end without its hitch continues the last two beads straight on."""
    n, m = placing.x_m.shape
    own_pose = sighting.own_spread(np.nan_to_num(placing.camera_jacobian[..., :1, :]))[..., 0, 0]
    arcs = np.concatenate([[0.0], arc_m, [rope.length_m]])
    place = np.full((n, m + 2, 3), np.nan)
    place[:, 1:-1] = np.stack([placing.x_m, placing.y_m, placing.z_m], axis=-1)
    place[:, 1:-1][~seen] = np.nan
    u_own, u_height = np.zeros((n, m + 2)), np.zeros((n, m + 2))
    u_own[:, 1:-1] = np.sqrt(placing.cov_own[..., 0, 0] + own_pose)
    u_height[:, 1:-1] = np.abs(lever_x) * state.u_z_m
    jacobian = np.zeros((n, m + 2, 15))
    jacobian[:, 1:-1] = np.nan_to_num(sighting.common(placing.camera_jacobian)[..., 0, :])
    for end, column in ((0, 0), (1, m + 1)):
        held = hitches.known[:, end] & ~state.off[:, end]
        place[held, column] = hitches.place_m[held, end]
        u_own[held, column] = hitches.u_own_m[held, end]
        u_height[held, column] = hitches.u_height_m[held, end]
        jacobian[held, column] = hitches.camera_jacobian[held, end, 0]
        loose = np.flatnonzero(~held & (np.isfinite(place[:, 1:-1, 0]).sum(axis=1) >= 2))
        if not len(loose):
            continue
        inner = np.isfinite(place[loose, 1:-1, 0])
        inner = inner if end == 0 else inner[:, ::-1]
        near = np.argmax(inner, axis=1)
        next_one = np.argmax(inner & (np.arange(m) > near[:, None]), axis=1)
        near, next_one = (1 + at if end == 0 else m - at for at in (near, next_one))
        apart = np.abs(arcs[near] - arcs[next_one])
        rest = np.abs(arcs[column] - arcs[near])
        step = (place[loose, near] - place[loose, next_one]) / apart[:, None]
        place[loose, column] = place[loose, near] + rest[:, None] * step
        u_own[loose, column] = u_own[loose, near] * (1 + rest / apart)
        u_height[loose, column] = np.hypot(u_height[loose, near], U_LOOSE_REST_RATIO * rest)
        jacobian[loose, column] = jacobian[loose, near]
    return Line(
        arcs, place, _off_centre(place, state, sighting.profile_m, rope.bead_radius_m), u_own, u_height, jacobian
    )


def _off_centre(place: FloatArray, state: RopeState, profile_m: Profile, radius_m: float) -> FloatArray:
    """Signed distance (n, k) of points from where the rope crosses x = 0, which on a ridge may be a bend."""
    if is_level(profile_m):
        return place[..., 0]
    lying = surface_at(profile_m, np.zeros(1)) + radius_m
    if state.way is None:
        at_line = np.broadcast_to(lying, (len(place), 1))
    else:
        at_line = np.where((state.slack == 1)[:, None], lying, state.way.height_at(np.zeros((len(place), 1))))
    return np.asarray(np.copysign(np.hypot(place[..., 0], place[..., 2] - at_line), place[..., 0]))


def cross_centre(line: Line, link: tuple[int, int] | None, *, heights_apart: bool = False) -> Crossing:
    """Length of rope, unstretched, on the +x side, summed over pieces where it crosses more than once.

    Between neighbouring known points the rope is straight, so a piece from x_a to x_b on opposite sides is shared as
    their distances from the line. The pieces beside hidden points are longer, nothing else changes.

    Parameters
    ----------
    link : indices of the link's two points in the line, if there is one
    heights_apart : whether the points' heights are unsure independently of each other; else they go together
    """
    x, k = line.off_centre_m, line.off_centre_m.shape[1]
    known = np.isfinite(x)
    usable = known[:, 0] & known[:, -1] & (k > 1)
    # Each known point ends the piece that begins at the known one before it.
    before = np.maximum.accumulate(np.where(known, np.arange(k), 0), axis=1)
    start = np.concatenate([np.zeros_like(before[:, :1]), before[:, :-1]], axis=1)
    ends = known & usable[:, None] & (np.arange(k) > 0)
    a, b = np.take_along_axis(x, start, axis=1), x
    pieces = np.where(ends, line.arc_m - line.arc_m[start], 0.0)
    crosses = ends & ((a > 0) != (b > 0))
    width = np.where(crosses, np.abs(a - b), 1.0)
    share = np.where(crosses, np.maximum(a, b) / width, (a > 0).astype(np.float64))
    # Derivatives of a shared piece by its two ends: the nearer end of the line counts more.
    by_point = np.zeros(x.shape)
    rows, columns = np.nonzero(crosses)
    piece, over = pieces[crosses], width[crosses] ** 2
    by_point[rows, columns] = piece * np.abs(a[crosses]) / over
    np.add.at(by_point, (rows, start[crosses]), piece * np.abs(b[crosses]) / over)
    own, by_height = (np.where(known, by_point * u_m, 0.0) for u_m in (line.u_x_own_m, line.u_x_height_m))
    some = crosses.any(axis=1)
    # All on one side: what could still be wrong is whether the nearest end has crossed.
    nearest = np.argmin(np.where(known, np.abs(x), np.inf), axis=1)
    every = np.arange(len(x))
    u_own = np.where(some, np.sqrt((own**2).sum(axis=1)), line.u_x_own_m[every, nearest])
    u_height = np.sqrt((by_height**2).sum(axis=1)) if heights_apart else by_height.sum(axis=1)
    by_camera = np.zeros((len(x), 15))
    rows, columns = np.nonzero(by_point)
    np.add.at(by_camera, rows, by_point[rows, columns, None] * line.camera_jacobian[rows, columns])
    first = np.argmax(crosses, axis=1)
    at_line = line.arc_m[start[every, first]] + (pieces * np.abs(a) / width)[every, first]
    link_share = np.full(len(x), np.nan)
    if link is not None:
        xa, xb = x[:, link[0]], x[:, link[1]]
        across = (xa > 0) != (xb > 0)
        parts = np.where(across, np.maximum(xa, xb) / np.where(across, np.abs(xa - xb), 1.0), (xa > 0) * 1.0)
        link_share = np.where(usable & np.isfinite(xa + xb), parts, np.nan)
    return Crossing(
        plus_m=np.where(usable, (pieces * share).sum(axis=1), np.nan),
        u_own_m=np.where(usable, u_own, np.nan),
        u_height_m=np.where(usable, u_height, np.nan),
        camera_jacobian=by_camera,
        link_share=link_share,
        arc_m=np.where(usable & some, at_line, np.nan),
    )
