"""Where every marker and the rope are, from the run's motion."""

from dataclasses import dataclass

import numpy as np

from matchvision.filming.arrays import Array, Flags
from matchvision.filming.course import Course, MachineCourse
from matchvision.filming.ground import axes, bends_of, surface_m, taut_curves
from matchvision.filming.scene import Machine, Scene, Table
from matchvision.filming.values import Point3

CURVE_POINTS = 241  # points of the rope's curve
FACE_CLEARANCE_M = 0.0004  # a body hides nothing that lies this near to its faces


@dataclass(frozen=True)
class Places:
    """Everything's place at n times, in the table frame [m].

    ``markers`` maps names as the tables use them (``heron.front``, ``bead_01``) to (n, 3); ``rope`` is the rope's
    curve, (n, points, 3), and ``rope_total_m`` how long it is as it lies.
    """

    clip_s: Array
    markers: dict[str, Array]
    hitches: tuple[Array, Array]
    rope: Array
    rope_total_m: Array
    rope_plus_x_m: Array
    rope_mid_x_m: Array
    slack: Flags


def origins(state: MachineCourse) -> Array:
    """Origin of the machine frame at n times, (n, 3)."""
    return np.stack([state.x_m, state.y_m, state.z_m], axis=-1)


def machine_points(points_m: Array, state: MachineCourse) -> Array:
    """Points of the machine frame, shape (k, 3) or (n, k, 3), in the table frame at n times: (n, k, 3)."""
    turn = axes(state.heading_rad, state.tilt_rad)
    return np.asarray(origins(state)[:, None] + points_m @ turn.swapaxes(-1, -2))


def side_angles(machine: Machine, state: MachineCourse) -> tuple[Array, Array]:
    """Angles [rad] by which the left and the right wheels have turned."""
    marked, other = state.wheel_angle_rad, state.wheel_angle_rad + state.other_side_rad
    on_the_right = bool(machine.wheel) and machine.wheel[0].face_m[1] < 0
    return (other, marked) if on_the_right else (marked, other)


def on_arm(scene: Scene, machine: Machine, at_m: Point3, clip_s: Array) -> Array:
    """A point that rides on the machine's arm, in the machine frame, (n, 1, 3); it stays put where there is no arm."""
    points = np.tile(np.array(at_m, dtype=float), (len(clip_s), 1, 1))
    if machine.arm is not None:
        points[:, 0, 0] -= machine.arm.out_m(clip_s - scene.clock.start_s)
    return points


def _rim_points(machine: Machine, state: MachineCourse) -> dict[str, Array]:
    """Rim marks in the machine frame, (n, 3) each: driving forward carries a mark from up to forward."""
    found = {}
    left_rad, right_rad = side_angles(machine, state)
    for wheel in machine.wheel:
        wheel_angle_rad = left_rad if wheel.face_m[1] > 0 else right_rad
        for mark in wheel.rim:
            angle = np.deg2rad(mark.angle_deg) - wheel_angle_rad
            fx, fy, fz = wheel.face_m
            found[mark.name] = np.stack(
                [fx + mark.circle_m * np.cos(angle), np.full_like(angle, fy), fz + mark.circle_m * np.sin(angle)],
                axis=-1,
            )
    return found


def _arcs(curve: Array) -> Array:
    steps = np.linalg.norm(np.diff(curve, axis=1), axis=2)
    return np.concatenate([np.zeros((len(curve), 1)), np.cumsum(steps, axis=1)], axis=1)


def _slack_curve(taut: Array, table: Table, length_m: float, radius_m: float) -> Array:
    """A slack rope between hitches: it sags to the table first, then lies in a bow to the side; shape (n, p, 3).

    ``taut`` is how it would run if it were taut. One number (``give``) a time is found by bisection such that the
    curve has the rope's length.
    """
    u = np.linspace(0, 1, CURVE_POINTS)
    a, b = taut[:, 0], taut[:, -1]
    chord = b - a
    side = np.stack([-chord[:, 1], chord[:, 0], np.zeros(len(a))], axis=-1)
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    above = taut[..., 2] - surface_m(table, taut[..., 0])
    sag_limit = 3 * np.maximum(above[:, 0], above[:, -1])[:, None]
    hump = 4 * u * (1 - u)

    def curve(give: Array) -> Array:
        sag = np.minimum(give[:, None], sag_limit)
        bow = np.maximum(give[:, None] - sag_limit, 0.0)
        points = taut + (bow * np.sin(np.pi * u) ** 2)[..., None] * side[:, None]
        floor = surface_m(table, points[..., 0]) + radius_m
        points[..., 2] = np.maximum(points[..., 2] - sag * hump, np.minimum(floor, points[..., 2]))
        return np.asarray(points)

    low, high = np.zeros(len(a)), np.full(len(a), length_m)
    for _ in range(45):
        middle = (low + high) / 2
        short = _arcs(curve(middle))[:, -1] < length_m
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return curve((low + high) / 2)


def place_everything(scene: Scene, course: Course, clip_s: Array) -> Places:
    """Places of all markers and of the rope at the given times.

    Notes
    -----
    Taut: straight from hitch to hitch, or over the crest that is in the way; the cord's stretch is spread evenly over
    the cord, the link has its own.
    Slack: see `_slack_curve`; let go: see `loose`; beads keep their arc length.

    Checked by: tests/filming/test_course.py::test_rope_keeps_its_length
    """
    now = course.at(clip_s)
    markers: dict[str, Array] = {}
    for name, machine in scene.machine.items():
        state = now.machines[name]
        for disc in machine.marker:
            at_m = on_arm(scene, machine, disc.at_m, clip_s) if disc.on == "reach" else np.array([disc.at_m])
            markers[f"{name}.{disc.name}"] = machine_points(at_m, state)[:, 0]
        for mark, points in _rim_points(machine, state).items():
            markers[f"{name}.{mark}"] = machine_points(points[:, None], state)[:, 0]
    rope, link = scene.rope, scene.rope.link
    if not scene.roped:
        nothing, nowhere = np.zeros(len(clip_s)), np.zeros((len(clip_s), 0, 3))
        no_hitch = np.full((len(clip_s), 3), np.nan)
        return Places(
            clip_s, markers, (no_hitch, no_hitch), nowhere, nothing, nothing, nothing,
            np.zeros(len(clip_s), bool),
        )  # fmt: skip
    ends = ((scene.machine[end], now.machines[end]) for end in rope.ends)
    a, b = (machine_points(on_arm(scene, one, one.hitch_m, clip_s), state)[:, 0] for one, state in ends)
    curve = taut_curves(a, b, bends_of(scene.table, rope), CURVE_POINTS)
    slack = _arcs(curve)[:, -1] < rope.length_m
    if slack.any():
        curve[slack] = _slack_curve(curve[slack], scene.table, rope.length_m, rope.bead_radius_m)
    if course.loose is not None:
        off = clip_s >= course.loose.clip_s[0]
        slack |= off
        curve[off] = course.loose.curves(clip_s[off], CURVE_POINTS)
    arc = _arcs(curve)
    total = arc[:, -1]

    if link is None:
        link_now = np.zeros_like(total)
        before, rest = rope.length_m, 0.0
    else:
        link_now = np.where(slack, link.rest_m, now.link_m)
        before, rest = link.from_m, link.rest_m
    strain = (total - link_now) / (rope.length_m - rest)

    def at_arc(unloaded_m: float) -> Array:
        """Place of a point of the rope named by its unloaded arc length."""
        arc_m = strain * unloaded_m
        if unloaded_m > before:
            arc_m = strain * (unloaded_m - rest) + link_now
        return _along(curve, arc, arc_m)

    for bead, place, _ in scene.beads():
        markers[bead] = at_arc(place)
    if link is not None:
        markers["link_1"] = _along(curve, arc, strain * link.from_m)
        markers["link_2"] = _along(curve, arc, strain * link.from_m + link_now)
    pieces = np.diff(arc, axis=1)
    x0, x1 = curve[:, :-1, 0], curve[:, 1:, 0]
    span = np.where(np.abs(x1 - x0) > 1e-12, x1 - x0, 1e-12)
    share = np.clip(np.where(span > 0, x1 / span, x0 / -span), 0, 1)
    mid = _along(curve, arc, total / 2)[:, 0]
    return Places(clip_s, markers, (a, b), curve, total, (pieces * share).sum(axis=1), mid, slack)


def _along(curve: Array, arc: Array, arc_m: Array) -> Array:
    """Point of each time's curve at an arc length, shape (n, 3)."""
    n = np.arange(len(curve))
    k = np.clip((arc < arc_m[:, None]).sum(axis=1) - 1, 0, curve.shape[1] - 2)
    low, high = arc[n, k], arc[n, k + 1]
    part = ((arc_m - low) / (high - low))[:, None]
    return np.asarray(curve[n, k] * (1 - part) + curve[n, k + 1] * part)
