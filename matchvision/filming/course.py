"""How the run really goes: the motion of both machines and the rope, integrated on a fine clock.

Each machine rolls along its own heading. Along it act the ground's grip and the rope; across it the wheels hold.
Equations and integration are filming's own.
"""

import math
from dataclasses import dataclass, field, fields
from itertools import pairwise
from typing import Literal

import numpy as np

from matchvision.filming.arrays import Array
from matchvision.filming.ground import GRAVITY_M_S2, Corner, bends_of, footing_of, taut_corners, taut_curves
from matchvision.filming.loose import NODES, LooseRope, drop_rope
from matchvision.filming.parts import Wall, anchored_speed, lift_rad
from matchvision.filming.scene import Drive, Machine, Scene, Table

CREEP_M_S = 0.002  # speed at which grip reaches its Coulomb limit
TURNING_RAD_S = 0.03  # wheel rate at which drive friction reaches its full value
STEP_S = 0.0005  # of the integration


@dataclass(frozen=True)
class MachineCourse:
    """One machine on the fine clock; every array has one value a step. Forward (towards home) is positive.

    ``tilt_rad`` is that of its own plane, rising towards +x: the slope on which it stands, and what it is lifted at one
    end; ``heading_rad`` counts within that plane; ``climb`` is dz/dx of the origin's path. Wheel rate and angle are
    those of the side on which the scene's first marked wheel sits; the wheels of the other side have turned further by
    ``other_side_rad`` (0 where both are geared to one drive, as here).
    """

    x_m: Array
    y_m: Array
    z_m: Array
    heading_rad: Array
    tilt_rad: Array
    climb: Array
    speed_m_s: Array
    wheel_rate_rad_s: Array
    wheel_angle_rad: Array
    traction_N: Array
    normal_N: Array
    share: Array
    grip_ratio: Array
    other_side_rad: Array


@dataclass(frozen=True)
class Course:
    """The whole run on the fine clock ``clip_s``.

    ``span_m`` is the shortest way from hitch to hitch, over the crest of a ridge where that is in the way; ``link_m``
    the sprung link's length (NaN without one); ``loose`` the rope once a hitch has let it go; ``wall_x_m`` where walls
    that were pushed away stand, by their owner.
    """

    clip_s: Array
    machines: dict[str, MachineCourse]
    tension_N: Array
    span_m: Array
    link_m: Array
    loose: LooseRope | None = None
    wall_x_m: dict[str, Array] = field(default_factory=dict)

    def at(self, clip_s: Array) -> "Course":
        """The run at other times, by straight lines between the fine steps."""

        def pick(values: Array) -> Array:
            return np.interp(clip_s, self.clip_s, values)

        machines = {
            name: MachineCourse(**{key: pick(values) for key, values in vars(machine).items()})
            for name, machine in self.machines.items()
        }
        walls = {owner: pick(x_m) for owner, x_m in self.wall_x_m.items()}
        return Course(clip_s, machines, pick(self.tension_N), pick(self.span_m), pick(self.link_m), self.loose, walls)

    def tension_over(self, clip_s: Array, window_s: float) -> Array:
        """Tension [N] averaged over a window about each time."""
        area = np.concatenate([[0.0], np.cumsum((self.tension_N[1:] + self.tension_N[:-1]) / 2 * np.diff(self.clip_s))])
        low = np.clip(clip_s - window_s / 2, self.clip_s[0], self.clip_s[-1])
        high = np.clip(clip_s + window_s / 2, self.clip_s[0], self.clip_s[-1])
        return np.asarray((np.interp(high, self.clip_s, area) - np.interp(low, self.clip_s, area)) / (high - low))


class _Body:
    """State of one machine while the run is integrated."""

    def __init__(
        self, machine: Machine, table: Table, start_s: float, end_s: float, clip_s: Array, walls: tuple[Wall, ...] = ()
    ) -> None:
        self.patches = table.patch
        self.footing = footing_of(machine, table)
        self.match_start, self.start = start_s, start_s + machine.let_go_s
        self.anchor, self.arm, self.broken = machine.anchor, machine.arm, False
        self.out = [0.0] * len(clip_s) if machine.arm is None else list(machine.arm.out_m(clip_s - start_s))
        self.walls, self.half_length, self.half_width = walls, machine.size_m[0] / 2, machine.size_m[1] / 2
        self.grip = machine.grip_ratio
        self.mass = machine.mass_kg
        self.hitch_x, self.arm_y, self.arm_z = machine.hitch_m
        self.arm_x = self.hitch_x - float(self.out[0])
        self.home = math.pi if machine.home == "-x" else 0.0
        self.offset = math.radians(machine.heading_offset_deg)
        self.wander, self.wander_m = math.radians(machine.wander_deg), machine.wander_m
        self.contact = machine.wheelbase_m / 2 if machine.drive else machine.size_m[0] / 2
        self.loss, self.loss_turn, self.turned = math.inf, 0.0, 0.0
        self.path = self.speed = self.rate = self.angle = 0.0
        self.heading = self.home + self.offset
        self.x, self.y = machine.hitch_x_m, machine.y_m
        self.lifts = lift_rad(machine.lift, clip_s - start_s)
        self.lift, self.nose = self.lifts[0], math.cos(self.home)
        self.z = self.slope = self.tilt = self.climb = 0.0
        for _ in range(30):  # the tilt depends on the place
            self.stand()
            self.x += machine.hitch_x_m - self.hitch()[0]
        self.stand()
        self.drive = machine.drive
        self.rows = np.empty((len(clip_s), len(fields(MachineCourse))))
        if machine.drive is not None:
            self.share = _share_over_time(machine.drive, self.start, end_s, clip_s)
            self.radius = machine.drive.wheel_radius_m
            self.inertia = machine.drive.wheel_inertia_kg_m2
            self.stall = (
                machine.drive.motors
                * machine.drive.stall_torque_Nm
                * machine.drive.gear_ratio
                * machine.drive.drive_efficiency
            )
            self.no_load = machine.drive.no_load_rev_min * 2 * math.pi / 60 / machine.drive.gear_ratio
            if machine.drive.loss_s is not None:
                self.loss = start_s + machine.drive.loss_s
                self.loss_turn = math.radians(machine.drive.loss_turn_deg_per_m)

    def stand(self) -> None:
        """Height and tilt where it is: those of the surface under it, and what it is lifted at one end."""
        ground_z, self.slope, self.climb = self.footing.at(self.x) if self.footing is not None else (0.0, 0.0, 0.0)
        self.z = ground_z + abs(math.sin(self.lift)) * self.contact * math.cos(self.slope)
        self.tilt = self.slope + self.nose * self.lift

    def hitch(self) -> tuple[float, float, float]:
        cos, sin = math.cos(self.heading), math.sin(self.heading)
        level, steep = math.cos(self.tilt), math.sin(self.tilt)
        along = self.arm_x * cos - self.arm_y * sin
        return (
            self.x + along * level - self.arm_z * steep,
            self.y + self.arm_x * sin + self.arm_y * cos,
            self.z + along * steep + self.arm_z * level,
        )

    def grip_here(self) -> float:
        """Mean grip under the two ends of the contact length."""
        if not self.patches:
            return self.grip
        total = 0.0
        for end in (-self.contact, self.contact):
            x = self.x + end * math.cos(self.heading)
            inside = [p.grip_ratio for p in self.patches if p.from_m <= x <= p.to_m]
            total += inside[-1] if inside else self.grip
        return total / 2

    def step(self, k: int, clip_s: float, pull: tuple[float, float, float]) -> None:
        """One step under the rope's force on the hitch."""
        cos, sin = math.cos(self.heading), math.sin(self.heading)
        level = 1 / math.hypot(1, self.climb)
        path = (cos * level, sin, cos * level * self.climb)
        weight = self.mass * GRAVITY_M_S2
        along = pull[0] * path[0] + pull[1] * path[1] + (pull[2] - weight) * path[2]
        along += self._pushes(clip_s)
        normal = max((weight - pull[2]) * math.cos(self.slope) + pull[0] * math.sin(self.slope), 0.0)
        grip = self.grip_here()
        limit = grip * normal
        speed = self.speed + STEP_S * along / self.mass
        share = 0.0
        if clip_s < self.start:  # held until the clock starts
            force = -along
        elif self.anchor is not None and not self.broken:
            creep = anchored_speed(self.anchor, along, clip_s - self.match_start)
            self.broken = creep is None
            self.speed, force = creep or 0.0, -along
        elif self.drive is None:
            sliding, force = _settle(speed, 1 / self.mass, limit)
            force, self.speed = -force, sliding
        else:
            share = self.share[k]
            stall = self.stall * (self.drive.loss_ratio if clip_s >= self.loss else 1.0)
            if self.drive.throttle_acts_on == "torque":
                torque = share * stall * (1 - self.rate / self.no_load)
            else:
                torque = stall * (share - self.rate / self.no_load)
            torque -= self.drive.drive_friction_Nm * max(-1.0, min(1.0, self.rate / TURNING_RAD_S))
            rate = self.rate + STEP_S * torque / self.inertia
            mobility = self.radius**2 / self.inertia + 1 / self.mass
            _, force = _settle(rate * self.radius - speed, mobility, limit)
            self.rate = rate - STEP_S * force * self.radius / self.inertia
            self.speed = speed + STEP_S * force / self.mass
        self.rows[k] = (
            self.x, self.y, self.z, self.heading, self.tilt, self.climb,
            self.speed, self.rate, self.angle, force, normal, share, grip, 0.0,
        )  # fmt: skip
        if self.arm is not None and k + 1 < len(self.out):
            self.arm_x = self.hitch_x - float(self.out[k + 1])
        self.angle += STEP_S * self.rate
        self.path += STEP_S * abs(self.speed)
        self.x += STEP_S * self.speed * path[0]
        self.y += STEP_S * self.speed * path[1]
        if clip_s >= self.loss:
            self.turned += STEP_S * abs(self.speed) * self.loss_turn
        self.heading = self.home + self.offset + self.turned + self.wander * math.sin(self.path / self.wander_m)
        self.lift = self.lifts[min(k + 1, len(self.lifts) - 1)]
        self.stand()

    def _pushes(self, clip_s: float) -> float:
        """Recoil of the arm and pushes of walls, along the machine's forward [N]."""
        force = 0.0
        if self.arm is not None:
            force += self.arm.mass_kg * self.arm.accel_m_s2(clip_s - self.match_start)
        cos = math.cos(self.heading)
        for wall in self.walls:
            for end in (-1, 1):
                way: Literal[-1, 1] = 1 if end * cos > 0 else -1
                nose = self.x + end * self.half_length * cos
                force += cos * wall.push_on(nose, self.y, self.half_width, way, self.speed * cos)
        return force


def _settle(free_speed: float, mobility: float, limit_N: float) -> tuple[float, float]:
    """Sliding speed at the step's end and the Coulomb force that brought it there.

    Solves s + h·mobility·F(s) = free_speed for F(s) = limit·clip(s / creep, −1, 1) in closed form: an implicit step,
    stable however stiff the creep law is.
    """
    gain = STEP_S * mobility * limit_N
    speed = free_speed / (1 + gain / CREEP_M_S)
    if abs(speed) > CREEP_M_S:
        speed = free_speed - math.copysign(gain, free_speed)
    return speed, (free_speed - speed) / (STEP_S * mobility)


def _towards(a: Corner, b: Corner, pull_N: float) -> tuple[float, float, float]:
    """A pull as a vector from one point towards another."""
    ratio = pull_N / math.dist(a, b)
    return ratio * (b[0] - a[0]), ratio * (b[1] - a[1]), ratio * (b[2] - a[2])


def _share_over_time(drive: Drive, start_s: float, end_s: float, clip_s: Array) -> list[float]:
    """Share of full drive at each step: none before the start, and let go within 0.25 s of the end."""
    points = np.array(drive.throttle)
    start_s += drive.start_delay_s
    share = np.interp(clip_s - start_s, points[:, 0], points[:, 1])
    share[clip_s < start_s] = 0.0
    last = float(np.interp(end_s - start_s, points[:, 0], points[:, 1]))
    after = clip_s > end_s
    share[after] = last * np.clip(1 - (clip_s[after] - end_s) / 0.25, 0, 1)
    return [float(s) for s in share]


def play(scene: Scene) -> Course:
    """Integrate the run.

    Parameters
    ----------
    scene : Scene
        Machines, rope, throttles.

    Returns
    -------
    Course
        From the first picture to 0.1 s after the last, on a clock of 0.5 ms. Nothing is random.

    Raises
    ------
    ValueError
        Where a weight hangs over a pulley.

    Notes
    -----
    Along a machine's heading: m dv/dt = F + T·e − m g dz/ds, wheels: I dω/dt = τ − F r, motor line
    τ = share·τs·(1 − ω/ω0) (or τs·(share − ω/ω0)) less drive friction. Grip F = μN·clip(slip/creep, −1, 1).
    The cord is a one-sided spring with damping, T = k e + c de/dt ≥ 0. A link is an undamped spring in series:
    T = k_link (length − rest) holds exactly. Where a crest bends the rope the pull is the same on both sides of it.
    Machines are held until the clock starts.

    Checked by: tests/filming/test_course.py::test_momentum_closes
    """
    if any(machine.hangs for machine in scene.machine.values()):
        msg = "a weight that hangs over a pulley is not integrated here: give the course to film"
        raise ValueError(msg)
    steps = math.ceil((scene.last_s - scene.clock.from_s + 0.1) / STEP_S) + 1
    clip_s = scene.clock.from_s + np.arange(steps) * STEP_S
    bodies = {
        name: _Body(machine, scene.table, scene.clock.start_s, scene.end_s, clip_s, scene.wall)
        for name, machine in scene.machine.items()
    }
    rope, link = scene.rope, scene.rope.link
    if not scene.roped:
        return _play_alone(bodies, clip_s)
    first, second = (bodies[end] for end in rope.ends)
    cord = 0.0
    kinks = bends_of(scene.table, rope)
    tension, span, hitches = np.empty(steps), np.empty(steps), np.empty((2, steps, 3))
    release_s = math.inf if scene.release_s is None else scene.release_s
    before = 0.0
    for k in range(steps):
        corners = taut_corners(first.hitch(), second.hitch(), kinks)
        length = sum(math.dist(p, q) for p, q in pairwise(corners))
        stretch = length - rope.length_m
        if stretch <= 0 or clip_s[k] >= release_s:
            pull, cord = 0.0, 0.0
        elif link is None:
            rate = (length - before) / STEP_S if k else 0.0
            pull = rope.stiffness_N_per_m * stretch + rope.damping_N_s_per_m * rate
        else:
            # Cord (spring and damper side by side) in series with the link: one implicit step of the cord's stretch.
            lag = STEP_S / max(rope.damping_N_s_per_m, 1e-9)
            cord = (cord + lag * link.stiffness_N_per_m * stretch) / (
                1 + lag * (link.stiffness_N_per_m + rope.stiffness_N_per_m)
            )
            cord = min(cord, stretch)
            pull = link.stiffness_N_per_m * (stretch - cord)
        pull = max(pull, 0.0)
        tension[k], span[k] = pull, length
        hitches[0, k], hitches[1, k] = corners[0], corners[-1]
        before = length
        first.step(k, clip_s[k], _towards(corners[0], corners[1], pull))
        second.step(k, clip_s[k], _towards(corners[-1], corners[-2], pull))
    link_m = np.full(steps, np.nan) if link is None else link.rest_m + tension / link.stiffness_N_per_m
    machines = {name: MachineCourse(*body.rows.T) for name, body in bodies.items()}
    return Course(clip_s, machines, tension, span, link_m, loose_rope(scene, clip_s, hitches))


def _play_alone(bodies: dict[str, _Body], clip_s: Array) -> Course:
    """Machines without a rope."""
    for body in bodies.values():
        for k, moment in enumerate(clip_s.tolist()):
            body.step(k, moment, (0.0, 0.0, 0.0))
    nothing = np.zeros(len(clip_s))
    machines = {name: MachineCourse(*body.rows.T) for name, body in bodies.items()}
    return Course(clip_s, machines, nothing, nothing, np.full(len(clip_s), np.nan))


def loose_rope(scene: Scene, clip_s: Array, hitches: Array) -> LooseRope | None:
    """The rope after a hitch has let it go; ``hitches`` (2, n, 3) in the order of the rope's ends."""
    rope = scene.rope
    if rope.release is None or scene.release_s is None:
        return None
    held = 1 if rope.ends[0] == rope.release.hitch else 0
    since = int(np.searchsorted(clip_s, scene.release_s))
    kinks = bends_of(scene.table, rope)
    curve = taut_curves(hitches[held, since][None], hitches[1 - held, since][None], kinks, NODES)[0]
    return drop_rope(
        curve, scene.release_s, clip_s[since:], hitches[held, since:], rope.length_m, scene.table,
        rope.bead_radius_m, held_first=held == 0,
    )  # fmt: skip
