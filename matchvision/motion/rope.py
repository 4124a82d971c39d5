"""The rope: how much lies on each side of the centre line, how fast it moves, and how it pulls at its ends."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.placing import Placing
from matchvision.motion.crossing import Line, cross_centre, lay_line
from matchvision.motion.handset import HandEnds, add_hand_ends, join_crossing, lengthen
from matchvision.motion.machines import Pose
from matchvision.motion.ropestate import Hitches, RopeState, find_state
from matchvision.motion.sighting import Sighting, spread_from_camera
from matchvision.motion.smoothing import smooth_series
from matchvision.records.motion import ArmMotion, RopeMotion
from matchvision.records.sheet import Machine, RopeSheet
from matchvision.records.tracks import Tracks

#: How much a contest cord stretches while it is taut, before anything is measured: mean and standard deviation of its
#: relative stretch. A taut cord is stretched; none at all is not the likeliest.
STRETCH_RATIO = 0.003
U_STRETCH_RATIO = 0.003
#: No cord is told to stretch by more: beyond, something else is wrong.
MOST_STRETCH_RATIO = 0.01
#: Relative uncertainty of the rope's length as the sheet states it.
U_SHEET_LENGTH_RATIO = 0.0005
#: How well a cord that is longer than stated is measured, from its last bead to the hitch as the sheet places it [m].
U_LONGER_M = 0.003


@dataclass(frozen=True, eq=False)
class RopeReading:
    """The rope's motion, where its markers are, and what the note tells."""

    motion: RopeMotion
    columns: list[int]
    state: RopeState
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
    state = find_state(
        sighting, columns, arc_m, rope.length_m, rope.bead_radius_m, hitches, real_s, link,
        to_pulley=any(load is not None and load.hangs for load in loads),
    )  # fmt: skip
    if any(state.longer_m):
        # What is there is measured, not what the sheet says of it.
        rope = rope.model_copy(update={"length_m": rope.length_m + sum(state.longer_m)})
        arc_m = arc_m + state.longer_m[0]
    placing = sighting.place(columns, state.z_m)
    lever = sighting.lever[:, columns]
    line = lay_line(rope, arc_m, placing, sighting.seen[:, columns], lever[..., 0], state, hitches, sighting)
    points = None if link is None else (link[0] + 1, link[1] + 1)
    crossing = cross_centre(line, points, heights_apart=not columns)

    link_length, u_link, u_link_ratio, link_stretch = _measure_link(link, rest_m, placing, sighting)
    along = hitches.place_m[:, 1] - hitches.place_m[:, 0]
    span = np.linalg.norm(along, axis=-1)
    if state.way is not None:
        span = np.where(np.isfinite(span), state.way.length_m, np.nan)
    ratio, u_ratio = _stretch_while_taut(rope, state, hitches, span, rest_m, link_stretch, sighting.covariance)
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
    u_total = np.hypot(u_total, U_LONGER_M * np.sqrt(sum(one > 0 for one in state.longer_m)))
    at_line = spread_from_camera(crossing.camera_jacobian[:, None, :], sighting.covariance)[:, 0, 0]
    crossing_part = smoothed.u_value**2 + at_line + _carry_known(crossing.u_height_m) ** 2
    share = plus / total
    u_plus = np.sqrt(crossing_part + (share * u_total) ** 2)
    u_minus = np.sqrt(crossing_part + ((1 - share) * u_total) ** 2)
    # Scale error of the camera at the line acts on speed as on any length there.
    changing = np.gradient(crossing.camera_jacobian, real_s, axis=0) if n > 1 else crossing.camera_jacobian * 0
    u_scale = np.sqrt(spread_from_camera(changing[:, None, :], sighting.covariance)[:, 0, 0])
    direction = _pull_directions(line, hitches, state)
    motion = RopeMotion(
        on_minus_x_m=total - plus,
        on_plus_x_m=plus,
        u_on_minus_x_m=u_minus,
        u_on_plus_x_m=u_plus,
        speed_m_s=smoothed.rate,
        u_speed_m_s=np.hypot(smoothed.u_rate, u_scale),
        slack=state.slack,
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
        longer_m=state.longer_m,
    )
    return RopeReading(motion, columns, state, placing, smoothed.noise_factor)


def _stretch_while_taut(
    rope: RopeSheet,
    state: RopeState,
    hitches: Hitches,
    span_m: FloatArray,
    rest_m: float,
    link_stretch_m: FloatArray,
    covariance: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Relative stretch (n,) of the cord and its standard uncertainty, common to all frames; 0 while it is slack.

    The span between the hitches, less the length as stated and the link's stretch, is weighed with what taut cords do:
    each by its own variance.
    """
    n = len(span_m)
    taut = (state.slack == 0) & np.isfinite(span_m)
    if not taut.any():
        return np.zeros(n), np.full(n, np.hypot(U_STRETCH_RATIO, U_SHEET_LENGTH_RATIO))
    along = hitches.place_m[:, 1] - hitches.place_m[:, 0]
    by_camera = hitches.camera_jacobian[:, 1, :2] - hitches.camera_jacobian[:, 0, :2]
    u_seen = _ratio_from_camera(along[:, :2], by_camera, covariance)
    cord_m = rope.length_m - (rest_m if np.isfinite(rest_m) else 0.0)
    stretched_m = span_m - rope.length_m - np.nan_to_num(link_stretch_m)
    believed = U_STRETCH_RATIO**2 / (U_STRETCH_RATIO**2 + u_seen**2 + U_SHEET_LENGTH_RATIO**2)
    drawn = STRETCH_RATIO + believed * (stretched_m / cord_m - STRETCH_RATIO)
    ratio = np.where(taut, np.clip(drawn, 0.0, MOST_STRETCH_RATIO), 0.0)
    u_ratio = np.where(taut, np.sqrt(believed) * np.hypot(u_seen, U_SHEET_LENGTH_RATIO), U_SHEET_LENGTH_RATIO)
    return np.nan_to_num(ratio), u_ratio


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


def _pull_directions(line: Line, hitches: Hitches, state: RopeState) -> FloatArray:
    """Unit vectors (n, 2, 3) of the pull on each end's machine: along the taut rope, else towards the nearest bead."""
    n = len(state.slack)
    result = np.full((n, 2, 3), np.nan)
    for end in (0, 1):
        hitch = hitches.place_m[:, end]
        taut = (state.slack == 0) & hitches.known[:, 1 - end]
        corner = hitches.place_m[:, 1 - end] if state.way is None else state.way.next_to(end)
        target = np.where(taut[:, None], corner, np.nan)
        order = range(1, line.place_m.shape[1] - 1)
        for column in order if end == 0 else reversed(order):
            missing = ~np.isfinite(target[:, 0])
            target[missing] = line.place_m[missing, column]
        target[state.off[:, end]] = np.nan
        apart = target - hitch
        result[:, end] = apart / np.linalg.norm(apart, axis=-1, keepdims=True)
    return result
