"""How the run really goes: the motion of both machines and the rope, integrated on a fine clock.

Each machine rolls along its own heading. Along it act the ground's grip and the rope; across it the wheels hold.
Equations and integration are filming's own.
"""

import math
from dataclasses import dataclass

import numpy as np

from matchvision.filming.arrays import Array
from matchvision.filming.scene import Drive, Machine, Patch, Scene

GRAVITY_M_S2 = 9.81
CREEP_M_S = 0.002  # speed at which grip reaches its Coulomb limit
TURNING_RAD_S = 0.03  # wheel rate at which drive friction reaches its full value
STEP_S = 0.0005


@dataclass(frozen=True)
class MachineCourse:
    """One machine on the fine clock; every array has one value a step. Forward (towards home) is positive."""

    x_m: Array
    y_m: Array
    heading_rad: Array
    speed_m_s: Array
    wheel_rate_rad_s: Array
    wheel_angle_rad: Array
    traction_N: Array
    normal_N: Array
    share: Array
    grip_ratio: Array


@dataclass(frozen=True)
class Course:
    """The whole run on the fine clock ``clip_s``.

    ``chord_m`` is the straight distance from hitch to hitch; ``link_m`` the sprung link's length (NaN without one).
    """

    clip_s: Array
    machines: dict[str, MachineCourse]
    tension_N: Array
    chord_m: Array
    link_m: Array

    def at(self, clip_s: Array) -> "Course":
        """The run at other times, by straight lines between the fine steps."""

        def pick(values: Array) -> Array:
            return np.interp(clip_s, self.clip_s, values)

        machines = {
            name: MachineCourse(**{field: pick(values) for field, values in vars(machine).items()})
            for name, machine in self.machines.items()
        }
        return Course(clip_s, machines, pick(self.tension_N), pick(self.chord_m), pick(self.link_m))

    def tension_over(self, clip_s: Array, window_s: float) -> Array:
        """Tension [N] averaged over a window about each time."""
        area = np.concatenate([[0.0], np.cumsum((self.tension_N[1:] + self.tension_N[:-1]) / 2 * np.diff(self.clip_s))])
        low = np.clip(clip_s - window_s / 2, self.clip_s[0], self.clip_s[-1])
        high = np.clip(clip_s + window_s / 2, self.clip_s[0], self.clip_s[-1])
        return np.asarray((np.interp(high, self.clip_s, area) - np.interp(low, self.clip_s, area)) / (high - low))


class _Body:
    """State of one machine while the run is integrated."""

    def __init__(self, machine: Machine, patches: tuple[Patch, ...], start_s: float, end_s: float, steps: int) -> None:
        self.patches = patches
        self.grip = machine.grip_ratio
        self.mass = machine.mass_kg
        self.arm_x, self.arm_y, self.arm_z = machine.hitch_m
        self.home = math.pi if machine.home == "-x" else 0.0
        self.offset = math.radians(machine.heading_offset_deg)
        self.wander, self.wander_m = math.radians(machine.wander_deg), machine.wander_m
        self.contact = machine.wheelbase_m / 2 if machine.drive else machine.size_m[0] / 2
        self.path = self.speed = self.rate = self.angle = 0.0
        self.heading = self.home + self.offset
        self.x = machine.hitch_x_m - (self.arm_x * math.cos(self.heading) - self.arm_y * math.sin(self.heading))
        self.y = machine.y_m
        self.drive = machine.drive
        self.rows = np.empty((steps, 10))
        if machine.drive is not None:
            self.share = _share_over_time(machine.drive, start_s, end_s, steps)
            self.radius = machine.drive.wheel_radius_m
            self.inertia = machine.drive.wheel_inertia_kg_m2
            self.stall = (
                machine.drive.motors
                * machine.drive.stall_torque_Nm
                * machine.drive.gear_ratio
                * machine.drive.drive_efficiency
            )
            self.no_load = machine.drive.no_load_rev_min * 2 * math.pi / 60 / machine.drive.gear_ratio
            self.loss = math.inf if machine.drive.loss_s is None else start_s + machine.drive.loss_s

    def hitch(self) -> tuple[float, float, float]:
        cos, sin = math.cos(self.heading), math.sin(self.heading)
        return (
            self.x + self.arm_x * cos - self.arm_y * sin,
            self.y + self.arm_x * sin + self.arm_y * cos,
            self.arm_z,
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
        along = pull[0] * cos + pull[1] * sin
        normal = max(self.mass * GRAVITY_M_S2 - pull[2], 0.0)
        grip = self.grip_here()
        limit = grip * normal
        speed = self.speed + STEP_S * along / self.mass
        share = 0.0
        if self.drive is None:
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
            self.x, self.y, self.heading, self.speed, self.rate, self.angle, force, normal, share, grip,
        )  # fmt: skip
        self.angle += STEP_S * self.rate
        self.path += STEP_S * abs(self.speed)
        self.x += STEP_S * self.speed * cos
        self.y += STEP_S * self.speed * sin
        self.heading = self.home + self.offset + self.wander * math.sin(self.path / self.wander_m)


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


def _share_over_time(drive: Drive, start_s: float, end_s: float, steps: int) -> list[float]:
    """Share of full drive at each step: none before the start, and let go within 0.25 s of the end."""
    points = np.array(drive.throttle)
    clip_s = np.arange(steps) * STEP_S
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

    Notes
    -----
    Along a machine's heading: m dv/dt = F + T·e, wheels: I dω/dt = τ − F r, motor line
    τ = share·τs·(1 − ω/ω0) (or τs·(share − ω/ω0)) less drive friction. Grip F = μN·clip(slip/creep, −1, 1).
    The cord is a one-sided spring with damping, T = k e + c de/dt ≥ 0. A link is an undamped spring in series:
    T = k_link (length − rest) holds exactly.

    Checked by: tests/filming/test_course.py::test_momentum_closes
    """
    steps = math.ceil((scene.end_s + scene.clock.after_s + 0.1) / STEP_S) + 1
    clip_s = np.arange(steps) * STEP_S
    bodies = {
        name: _Body(machine, scene.table.patch, scene.clock.start_s, scene.end_s, steps)
        for name, machine in scene.machine.items()
    }
    first, second = (bodies[end] for end in scene.rope.ends)
    rope, link = scene.rope, scene.rope.link
    cord = 0.0
    tension, chord = np.empty(steps), np.empty(steps)
    before = math.dist(first.hitch(), second.hitch())
    for k in range(steps):
        a, b = first.hitch(), second.hitch()
        length = math.dist(a, b)
        stretch = length - rope.length_m
        if stretch <= 0:
            pull, cord = 0.0, 0.0
        elif link is None:
            pull = rope.stiffness_N_per_m * stretch + rope.damping_N_s_per_m * (length - before) / STEP_S
        else:
            # Cord (spring and damper side by side) in series with the link: one implicit step of the cord's stretch.
            lag = STEP_S / max(rope.damping_N_s_per_m, 1e-9)
            cord = (cord + lag * link.stiffness_N_per_m * stretch) / (
                1 + lag * (link.stiffness_N_per_m + rope.stiffness_N_per_m)
            )
            cord = min(cord, stretch)
            pull = link.stiffness_N_per_m * (stretch - cord)
        pull = max(pull, 0.0)
        tension[k], chord[k] = pull, length
        before = length
        force = (pull * (b[0] - a[0]) / length, pull * (b[1] - a[1]) / length, pull * (b[2] - a[2]) / length)
        first.step(k, clip_s[k], force)
        second.step(k, clip_s[k], (-force[0], -force[1], -force[2]))
    link_m = np.full(steps, np.nan) if link is None else link.rest_m + tension / link.stiffness_N_per_m
    return Course(clip_s, {name: MachineCourse(*body.rows.T) for name, body in bodies.items()}, tension, chord, link_m)
