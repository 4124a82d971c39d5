"""A machine as the match sees it: mass, hitch, contact points, drive; and as the numbers that are computed with."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as d
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2, Driven
from matchvision.mechanics.ground import Profile
from matchvision.mechanics.rope import RopeModel

#: Inertia of one driven wheel [kg m²] where none is stated: a disc of 0.2 kg and 50 mm radius.
ASSUMED_WHEEL_INERTIA_KG_M2: Final = 2.5e-4
#: What is left at least of a machine's mass for its first body, where a changed mass would leave less than nothing.
LEAST_FIRST_RATIO: Final = 0.01
#: Values over time or angle, joined by straight lines; the first and the last go on for ever.
Points = tuple[tuple[float, float], ...]
#: Full drive from the start.
FULL_DRIVE: Final = ((0.0, 1.0),)


@dataclass(frozen=True)
class SideDrive:
    """The drive of one side's wheels: stall torque and friction at the wheels [Nm], free rate [rad/s], throttle plan.

    ``throttle`` holds (match time [s], share of full drive). ``inertia_kg_m2`` is that of all driven wheels of the side
    with what turns with them.
    """

    stall_torque_Nm: float
    free_rate_rad_s: float
    friction_Nm: float = 0.0
    inertia_kg_m2: float = 2 * ASSUMED_WHEEL_INERTIA_KG_M2
    throttle: tuple[tuple[float, float], ...] = FULL_DRIVE


@dataclass(frozen=True)
class Changes:
    """What happens to a machine in mid-run; times are match times [s], places x in the table frame [m].

    Attributes
    ----------
    loss_s, lost_left, lost_right : shares of each side's stall torque that are gone since then (at the same free rate,
        as where one of two motors on one gear train has stopped).
    grip_since_s, grip_ratio : all its grip is multiplied by the ratio since then.
    stretch_m, stretch_ratio : between two places every contact point's grip is multiplied by the ratio.
    wall_x_m : a wall across the table that stops its centre of mass there on its way home, where it meets it squarely;
        else the corner that is ahead meets it first and the machine turns. None without one.
    """

    loss_s: float = float("inf")
    lost_left: float = 0.0
    lost_right: float = 0.0
    grip_since_s: float = float("inf")
    grip_ratio: float = 1.0
    stretch_m: tuple[float, float] = (0.0, 0.0)
    stretch_ratio: float = 1.0
    wall_x_m: float | None = None

    def stops_s(self) -> set[float]:
        """Times at which something jumps."""
        return {time_s for time_s in (self.loss_s, self.grip_since_s) if np.isfinite(time_s)}


UNCHANGED: Final = Changes()


@dataclass(frozen=True)
class Arm:
    """An arm that goes out along the machine, whatever it meets: a third of its time each to gather speed, go and stop.

    Attributes
    ----------
    stroke_m, mass_kg : how far it goes; its mass, which is part of the machine's.
    lasts_s, from_s : how long it takes, and from which match time on.
    forwards : whether it goes out forwards; else backwards, away from home.
    carries_hitch : whether the rope rides on it.
    """

    stroke_m: float
    mass_kg: float
    lasts_s: float
    from_s: float = 0.0
    forwards: bool = False
    carries_hitch: bool = True

    def stops_s(self) -> set[float]:
        """Times at which its acceleration jumps."""
        return {self.from_s + third * self.lasts_s / 3 for third in range(4)}


@dataclass(frozen=True)
class Box:
    """A further body of a machine, of even density: mass, (length, width, height), its middle in the machine frame."""

    mass_kg: float
    size_m: tuple[float, float, float]
    at_m: tuple[float, float, float]


@dataclass(frozen=True)
class MachineModel:
    """One machine on the table, or a dragged load.

    Attributes
    ----------
    mass_kg : whole mass.
    size_m : (length, width, height), for the yaw inertia of a box.
    bodies : further boxes, rigidly joined to that one: parts of the mass and of the yaw inertia.
    centre_of_mass_m, hitch_m : (x, y, z) in the machine frame: x forward, y left, z up from the table.
    grip_static, grip_sliding : coefficients of friction of wheels or runners on the table.
    wheelbase_m, track_m : distances of the contact points along and across; of a load its runners' corners.
    wheel_radius_m : 0 for a load without wheels.
    driven : which axle's wheels are driven; the others roll freely.
    left, right : drives; None without a drive.
    rolling_resistance : motion resistance over load.
    holding_N : pull that a base holds beside the wheels; beyond it the base slides at that pull.
    brake_N : pull that a brake or a self-locking gear holds against being drawn backwards, at the wheels.
    on_voltage : the throttle acts on the voltage instead of the torque.
    sag_ratio : share of the supply voltage lost at stall.
    start_delay_s : by how much the whole throttle plan comes late.
    holding_plan : share of ``holding_N`` over match time, (time [s], share); empty: all of it.
    holding_by_angle : share of it over the angle between the pull and straight back along the machine, (angle [rad],
        share); empty: all of it.
    winding : rope that it winds in over match time, (time [s], length [m]); empty: none.
    arm : an arm that goes out; None without one.
    diagonal_ratio : share of the mean load of a contact point by which front left and rear right carry more than
        balance asks of four alike springs, and the other two less: no balance tells it of a stiff machine.
    changes : what happens to it in mid-run.
    """

    name: str
    mass_kg: float
    size_m: tuple[float, float, float]
    centre_of_mass_m: tuple[float, float, float]
    hitch_m: tuple[float, float, float]
    grip_static: float
    grip_sliding: float
    wheelbase_m: float
    track_m: float
    wheel_radius_m: float = 0.0
    driven: Driven = "all"
    left: SideDrive | None = None
    right: SideDrive | None = None
    rolling_resistance: float = 0.0
    holding_N: float = 0.0
    brake_N: float = 0.0
    on_voltage: bool = False
    sag_ratio: float = 0.0
    start_delay_s: float = 0.0
    holding_plan: Points = ()
    holding_by_angle: Points = ()
    winding: Points = ()
    arm: Arm | None = None
    bodies: tuple[Box, ...] = ()
    diagonal_ratio: float = 0.0
    changes: Changes = UNCHANGED

    @property
    def yaw_inertia_kg_m2(self) -> float:
        """Inertia about the vertical through the centre of mass [kg m²], of boxes of even density.

        The first box has what the others leave of the mass, and lies where the whole's centre of mass then puts it.

        Notes
        -----
        Σ m ((l² + w²)/12 + d²), d from the whole's centre of mass to each box's (Huygens and Steiner).
        Checked by: tests/mechanics/test_bodies.py::test_inertia_of_two_bodies
        """
        if not self.bodies:
            return self.mass_kg * (self.size_m[0] ** 2 + self.size_m[1] ** 2) / 12
        boxes = [(box.mass_kg, box.size_m, np.subtract(box.at_m, self.centre_of_mass_m)[:2]) for box in self.bodies]
        first_kg = max(self.mass_kg - sum(mass_kg for mass_kg, *_ in boxes), LEAST_FIRST_RATIO * self.mass_kg)
        moment = sum((mass_kg * away_m for mass_kg, _, away_m in boxes), np.zeros(2))
        boxes.append((first_kg, self.size_m, -moment / first_kg))
        return float(sum(m * ((size[0] ** 2 + size[1] ** 2) / 12 + away_m @ away_m) for m, size, away_m in boxes))

    def contacts(self) -> FloatArray:
        """Contact points (4, 3): x, y in the machine frame [m] and kind (dragged, driven, rolling freely)."""
        out = np.empty((4, 3))
        corners = ((1, 1), (1, -1), (-1, 1), (-1, -1))
        for row, (along, across) in enumerate(corners):
            axle: Literal["front", "rear"] = "front" if along > 0 else "rear"
            kind = d.DRAGGED
            if self.wheel_radius_m > 0:
                kind = d.DRIVEN if self.left and self.right and self.driven in ("all", axle) else d.ROLLING_FREE
            out[row] = along * self.wheelbase_m / 2, across * self.track_m / 2, kind
        return out

    def numbers(self, home_side: float) -> FloatArray:
        """The machine as (BODY_NUMBERS,) floats, in the order that `mechanics.layout` names.

        ``home_side`` is the sign of the way along x that it drives: a wall stands on that side of it.
        """
        out = np.zeros(d.BODY_NUMBERS)
        out[d.MASS], out[d.YAW_INERTIA] = self.mass_kg, self.yaw_inertia_kg_m2
        out[d.COM_X : d.COM_Z + 1] = self.centre_of_mass_m
        out[d.HITCH_X : d.HITCH_Z + 1] = self.hitch_m
        out[d.WHEEL_RADIUS] = self.wheel_radius_m
        out[d.GRIP_STATIC], out[d.GRIP_SLIDING] = max(self.grip_static, self.grip_sliding), self.grip_sliding
        out[d.ROLLING], out[d.HOLDING], out[d.BRAKE] = self.rolling_resistance, self.holding_N, self.brake_N
        out[d.ON_VOLTAGE], out[d.SAG], out[d.DELAY] = float(self.on_voltage), self.sag_ratio, self.start_delay_s
        changes = self.changes
        out[d.LOSS_S : d.STRETCH_RATIO + 1] = (
            changes.loss_s, changes.lost_left, changes.lost_right, changes.grip_since_s, changes.grip_ratio,
            *changes.stretch_m, changes.stretch_ratio,
        )  # fmt: skip
        if changes.wall_x_m is not None:
            out[d.WALL_X], out[d.WALL_SIDE] = changes.wall_x_m, home_side
        for side, drive in enumerate((self.left, self.right)):
            if drive is not None:
                out[d.STALL_LEFT + side], out[d.FREE_LEFT + side] = drive.stall_torque_Nm, drive.free_rate_rad_s
                out[d.FRICTION_LEFT + side], out[d.INERTIA_LEFT + side] = drive.friction_Nm, drive.inertia_kg_m2
            else:
                out[d.FREE_LEFT + side] = 1.0
        if self.arm is not None:
            arm = self.arm
            out[d.ARM_FROM_S : d.ARM_HITCHED + 1] = (
                arm.from_s, max(arm.lasts_s, 1e-3), arm.stroke_m, arm.mass_kg, 1.0 if arm.forwards else -1.0,
                float(arm.carries_hitch),
            )  # fmt: skip
        # What is foremost meets a wall, over the width of all that is as far ahead.
        ahead_m = max([self.size_m[0] / 2, *(box.at_m[0] + box.size_m[0] / 2 for box in self.bodies)])
        aside_m = max([self.size_m[1] / 2, *(abs(box.at_m[1]) + box.size_m[1] / 2 for box in self.bodies)])
        out[d.HALF_LENGTH], out[d.HALF_WIDTH] = ahead_m, aside_m
        out[d.DIAGONAL] = self.diagonal_ratio
        out[d.CONTACT_0 :] = self.contacts().ravel()
        return out

    def throttle_table(self, rows: int) -> FloatArray:
        """Throttle plans (2 sides, rows, 2), the last row repeated at later times to fill up."""
        plans = [drive.throttle if drive is not None else ((0.0, 0.0),) for drive in (self.left, self.right)]
        return np.stack([fill_table(plan, rows) for plan in plans])

    def stops_s(self) -> set[float]:
        """Times at which something about it jumps or bends."""
        stops = self.changes.stops_s() | {time_s for plan in (self.holding_plan, self.winding) for time_s, _ in plan}
        for side in (self.left, self.right):
            if side is not None:
                stops |= {self.start_delay_s, *(self.start_delay_s + time_s for time_s, _ in side.throttle)}
        return stops | (self.arm.stops_s() if self.arm is not None else set())


def fill_table(points: Points, rows: int) -> FloatArray:
    """Points as (rows, 2), the last one repeated farther on to fill up."""
    out = np.empty((rows, 2))
    for row in range(rows):
        place, value = points[min(row, len(points) - 1)]
        out[row] = place + max(0, row - len(points) + 1), value
    return out


@dataclass(frozen=True)
class Pose:
    """Where a machine's origin stands [m] and which way it heads [rad], from +x towards +y."""

    x_m: float
    y_m: float
    heading_rad: float


@dataclass(frozen=True)
class MeasuredEnd:
    """Where the other end of a rope was measured to be: (match time [s], x [m], y [m]) joined by lines, at a height."""

    way: tuple[tuple[float, float, float], ...]
    height_m: float


@dataclass(frozen=True)
class MatchModel:
    """One or two machines, where they stand at the start, and the rope between their hitches (None: no rope).

    ``profile_m`` is the height of the table's surface, (x, z); empty on a level table. ``far_end``: where the
    rope's other end goes where one machine is computed alone; what the rope does to it then counts as lost.
    """

    machines: tuple[MachineModel, ...]
    starts: tuple[Pose, ...]
    rope: RopeModel | None = None
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2
    profile_m: Profile = ()
    far_end: MeasuredEnd | None = None
