"""The rope: how much lies on each side of the centre line, how fast it moves, and how it pulls at its ends."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.geometry.placing import Placing
from matchvision.motion.handset import HandEnds, add_hand_ends, join_crossing, lengthen
from matchvision.motion.lying import Hitches, Lie, find_lie
from matchvision.motion.machines import Pose
from matchvision.motion.sighting import Sighting, spread_from_camera
from matchvision.motion.smoothing import smooth_series
from matchvision.motion.standing import Profile, is_level, surface_at
from matchvision.records.motion import ArmMotion, RopeMotion
from matchvision.records.sheet import Machine, RopeSheet
from matchvision.records.tracks import Tracks

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: How much a contest cord stretches while it is taut, before anything is measured: mean and standard deviation of its
#: relative stretch. A taut cord is stretched; none at all is not the likeliest.
STRETCH_RATIO = 0.003
U_STRETCH_RATIO = 0.003
#: Relative uncertainty of the rope's length as the sheet states it.
U_SHEET_LENGTH_RATIO = 0.0005
#: How well a cord that is longer than stated is measured, from its last bead to the hitch as the sheet places it [m].
U_LONGER_M = 0.003
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


@dataclass(frozen=True, eq=False)
class RopeReading:
    """The rope's motion, where its markers are, and what the note tells."""

    motion: RopeMotion
    columns: list[int]
    lie: Lie
    placing: Placing
    noise_factor: float


def rope_columns(tracks: Tracks) -> tuple[list[int], FloatArray]:
    """Columns of beads and link markers sorted by arc length, and their arc lengths (NaN ones are left out)."""
    on_rope = [(p.arc_m, i) for i, p in enumerate(tracks.plans) if p.kind in ("bead", "link") and np.isfinite(p.arc_m)]
    on_rope.sort()
    return [i for _, i in on_rope], np.array([arc for arc, _ in on_rope])


def find_hitches(
    rope: RopeSheet, machines: dict[str, Machine], poses: dict[str, Pose], n: int, arms: Sequence[ArmMotion] = ()
) -> Hitches:
    """Places of the two hitches from machines' poses and arms; NaN where an end has no machine, hitch, pose or arm."""
    place = np.full((n, 2, 3), np.nan)
    jacobian = np.zeros((n, 2, 3, 15))
    u_own = np.full((n, 2), np.nan)
    for end, name in enumerate(rope.ends):
        machine, pose = machines.get(name), poses.get(name)
        if machine is None or pose is None or machine.hitch is None:
            continue
        place[:, end], jacobian[:, end] = pose.point_of(machine.hitch.at_m)
        u_own[:, end] = pose.along.u_value
        if machine.hitch.on == "reach":
            arm = next((a for a in arms if a.machine == name), None)
            out_m = np.full(n, np.nan) if arm is None else arm.outwards * arm.reach_m
            place[:, end] += out_m[:, None] * pose.axes()[0]
            u_own[:, end] = np.hypot(u_own[:, end], np.nan if arm is None else arm.u_reach_m)
    return Hitches(place, jacobian, u_own, np.zeros((n, 2)))


def lay_line(
    rope: RopeSheet,
    arc_m: FloatArray,
    placing: Placing,
    seen: BoolArray,
    lever_x: FloatArray,
    lie: Lie,
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
    u_height[:, 1:-1] = np.abs(lever_x) * lie.u_z_m
    jacobian = np.zeros((n, m + 2, 15))
    jacobian[:, 1:-1] = np.nan_to_num(sighting.common(placing.camera_jacobian)[..., 0, :])
    for end, column in ((0, 0), (1, m + 1)):
        held = hitches.known[:, end] & ~lie.off[:, end]
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
    return Line(arcs, place, _off_centre(place, lie, sighting.profile_m, rope.bead_radius_m), u_own, u_height, jacobian)


def _off_centre(place: FloatArray, lie: Lie, profile_m: Profile, radius_m: float) -> FloatArray:
    """Signed distance (n, k) of points from where the rope crosses x = 0, which on a ridge may be a bend."""
    if is_level(profile_m):
        return place[..., 0]
    lying = surface_at(profile_m, np.zeros(1)) + radius_m
    if lie.way is None:
        at_line = np.broadcast_to(lying, (len(place), 1))
    else:
        at_line = np.where((lie.slack == 1)[:, None], lying, lie.way.height_at(np.zeros((len(place), 1))))
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


def _ratio_from_camera(difference_m: FloatArray, jacobian: FloatArray, covariance: FloatArray) -> FloatArray:
    """Relative uncertainty (n,) from the camera of distances, given as vectors (n, 2) with derivatives (n, 2, 15)."""
    length = np.linalg.norm(difference_m, axis=-1, keepdims=True)
    along = difference_m / length
    by_camera = np.einsum("ni,nip->np", along, jacobian) / length
    return np.asarray(np.sqrt(spread_from_camera(by_camera[:, None, :], covariance)[:, 0, 0]))


def measure_rope(
    rope: RopeSheet,
    machines: dict[str, Machine],
    poses: dict[str, Pose],
    tracks: Tracks,
    sighting: Sighting,
    real_s: FloatArray,
    arms: Sequence[ArmMotion] = (),
    hand_ends: HandEnds | None = None,
) -> RopeReading | None:
    """The rope's motion from its markers and hitches; None where fewer than two points of it are known.

    Notes
    -----
    The unstretched length on the +x side is smoothed over time: its rate is the rope's speed at the centre line,
    towards +x. The stretch comes from the span while the rope is taut, drawn towards `STRETCH_RATIO`, and the
    link's from its own two markers. The camera's error at the centre line and the lengths' do not average out.
    Checked by: tests/motion/test_rope.py::test_share_at_the_end
    """
    n = len(real_s)
    columns, arc_m = rope_columns(tracks)
    hitches = add_hand_ends(find_hitches(rope, machines, poses, n, arms), hand_ends, joined=not columns)
    if len(columns) + int(hitches.known.any(axis=0).sum()) < 2:
        return None
    link, rest_m = _find_link(tracks, columns)
    loads = [machines[name].load for name in rope.ends if name in machines]
    lie = find_lie(
        sighting, columns, arc_m, rope.length_m, rope.bead_radius_m, hitches, real_s, link,
        to_pulley=any(load is not None and load.hangs for load in loads),
    )  # fmt: skip
    if any(lie.longer_m):
        # What is there is measured, not what the sheet says of it.
        rope = rope.model_copy(update={"length_m": rope.length_m + sum(lie.longer_m)})
        arc_m = arc_m + lie.longer_m[0]
    placing = sighting.place(columns, lie.z_m)
    lever = sighting.lever[:, columns]
    line = lay_line(rope, arc_m, placing, sighting.seen[:, columns], lever[..., 0], lie, hitches, sighting)
    points = None if link is None else (link[0] + 1, link[1] + 1)
    crossing = cross_centre(line, points, heights_apart=not columns)

    link_length, u_link, u_link_ratio, link_stretch = _measure_link(link, rest_m, placing, sighting)
    along = hitches.place_m[:, 1] - hitches.place_m[:, 0]
    span = np.linalg.norm(along, axis=-1)
    if lie.way is not None:
        span = np.where(np.isfinite(span), lie.way.length_m, np.nan)
    taut = (lie.slack == 0) & np.isfinite(span)
    ratio = np.zeros(n)
    u_ratio = np.full(n, np.hypot(U_STRETCH_RATIO, U_SHEET_LENGTH_RATIO))
    if taut.any():
        by_camera = hitches.camera_jacobian[:, 1, :2] - hitches.camera_jacobian[:, 0, :2]
        u_seen = _ratio_from_camera(along[:, :2], by_camera, sighting.covariance)
        cord_m = rope.length_m - (rest_m if np.isfinite(rest_m) else 0.0)
        stretched = span - rope.length_m - np.nan_to_num(link_stretch)
        believed = U_STRETCH_RATIO**2 / (U_STRETCH_RATIO**2 + u_seen**2 + U_SHEET_LENGTH_RATIO**2)
        drawn = STRETCH_RATIO + believed * (stretched / cord_m - STRETCH_RATIO)
        ratio = np.where(taut, np.clip(drawn, 0.0, 0.01), 0.0)
        u_ratio = np.where(taut, np.sqrt(believed) * np.hypot(u_seen, U_SHEET_LENGTH_RATIO), U_SHEET_LENGTH_RATIO)
        ratio = np.nan_to_num(ratio)
    if hand_ends is not None and not columns:
        smoothed = join_crossing(real_s, crossing.plus_m, crossing.u_own_m, span, rope.length_m, hand_ends)
        ratio, u_ratio = lengthen(ratio, u_ratio, span, rope.length_m, hitches, hand_ends, STRETCH_RATIO)
    else:
        smoothed = smooth_series(real_s, crossing.plus_m, crossing.u_own_m)
    stretch_m = np.nan_to_num(link_stretch)
    share_of_link = np.nan_to_num(crossing.link_share)
    plus = smoothed.value * (1 + ratio) + stretch_m * share_of_link
    total = rope.length_m * (1 + ratio) + stretch_m
    u_stretch = np.nan_to_num(u_link_ratio * (stretch_m + (rest_m if np.isfinite(rest_m) else 0.0)))
    u_total = np.hypot(rope.length_m * u_ratio, u_stretch)
    u_total = np.hypot(u_total, U_LONGER_M * np.sqrt(sum(one > 0 for one in lie.longer_m)))
    at_line = spread_from_camera(crossing.camera_jacobian[:, None, :], sighting.covariance)[:, 0, 0]
    crossing_part = smoothed.u_value**2 + at_line + _carry_known(crossing.u_height_m) ** 2
    share = plus / total
    u_plus = np.sqrt(crossing_part + (share * u_total) ** 2)
    u_minus = np.sqrt(crossing_part + ((1 - share) * u_total) ** 2)
    # Scale error of the camera at the line acts on speed as on any length there.
    changing = np.gradient(crossing.camera_jacobian, real_s, axis=0) if n > 1 else crossing.camera_jacobian * 0
    u_scale = np.sqrt(spread_from_camera(changing[:, None, :], sighting.covariance)[:, 0, 0])
    direction = _pull_directions(line, hitches, lie)
    motion = RopeMotion(
        on_minus_x_m=total - plus,
        on_plus_x_m=plus,
        u_on_minus_x_m=u_minus,
        u_on_plus_x_m=u_plus,
        speed_m_s=smoothed.rate,
        u_speed_m_s=np.hypot(smoothed.u_rate, u_scale),
        slack=lie.slack,
        crossing_arc_m=crossing.arc_m,
        span_m=span,
        link_length_m=link_length,
        u_link_length_m=u_link,
        u_link_common_ratio=float(np.nanmedian(u_link_ratio)) if np.isfinite(u_link_ratio).any() else float("nan"),
        pull_dir_x=direction[..., 0],
        pull_dir_y=direction[..., 1],
        pull_dir_z=direction[..., 2],
        total_m=total,
        u_total_m=u_total,
        longer_m=lie.longer_m,
    )
    return RopeReading(motion, columns, lie, placing, smoothed.noise_factor)


def _carry_known(series: FloatArray) -> FloatArray:
    """A lasting uncertainty, carried over frames where it could not be had."""
    at = np.flatnonzero(np.isfinite(series))
    return np.interp(np.arange(len(series)), at, series[at]) if len(at) else series


def _find_link(tracks: Tracks, columns: list[int]) -> tuple[tuple[int, int] | None, float]:
    """Places of the link's two markers among the columns, and its length under no load; NaN where unknown."""
    at = [k for k, i in enumerate(columns) if tracks.plans[i].kind == "link"]
    if len(at) != 2:
        return None, float("nan")
    arcs = [tracks.plans[columns[k]].arc_m for k in at]
    return (at[0], at[1]), float(arcs[1] - arcs[0])


def _measure_link(
    link: tuple[int, int] | None, rest_m: float, placing: Placing, sighting: Sighting
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Distance of the link's markers, its own u, the camera's relative u, and the stretch beyond its length at rest."""
    n = placing.x_m.shape[0]
    if link is None:
        nothing = np.full(n, np.nan)
        return nothing, nothing, nothing, nothing
    a, b = link
    places = np.stack([placing.x_m, placing.y_m, placing.z_m], axis=-1)
    apart = places[:, b] - places[:, a]
    length = np.linalg.norm(apart, axis=-1)
    unit = (apart / length[:, None])[:, :2]
    by_camera = placing.camera_jacobian[:, b] - placing.camera_jacobian[:, a]
    both = placing.cov_own[:, a] + placing.cov_own[:, b] + sighting.own_spread(by_camera)
    u = np.sqrt(np.einsum("ni,nij,nj->n", unit, both, unit))
    ratio = _ratio_from_camera(apart[:, :2], sighting.common(by_camera), sighting.covariance)
    return length, u, ratio, np.maximum(_carry_known(length) - rest_m, 0.0)


def _pull_directions(line: Line, hitches: Hitches, lie: Lie) -> FloatArray:
    """Unit vectors (n, 2, 3) of the pull on each end's machine: along the taut rope, else towards the nearest bead."""
    n = len(lie.slack)
    result = np.full((n, 2, 3), np.nan)
    for end in (0, 1):
        hitch = hitches.place_m[:, end]
        taut = (lie.slack == 0) & hitches.known[:, 1 - end]
        corner = hitches.place_m[:, 1 - end] if lie.way is None else lie.way.next_to(end)
        target = np.where(taut[:, None], corner, np.nan)
        order = range(1, line.place_m.shape[1] - 1)
        for column in order if end == 0 else reversed(order):
            missing = ~np.isfinite(target[:, 0])
            target[missing] = line.place_m[missing, column]
        target[lie.off[:, end]] = np.nan
        apart = target - hitch
        result[:, end] = apart / np.linalg.norm(apart, axis=-1, keepdims=True)
    return result
