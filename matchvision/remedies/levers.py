"""Levers of a machine: what a team can change before the next run, and what it makes of the machine."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from matchvision.mechanics.machine import MachineModel, SideDrive

#: A machine with one lever set: (machine, setting) → machine.
Set = Callable[[MachineModel, float], MachineModel]


@dataclass(frozen=True)
class Lever:
    """One lever.

    Attributes
    ----------
    name : "gear", "weight", "grip", "arm" or "start".
    turn : what a setting makes of the machine.
    neutral : the setting that changes nothing.
    settings : those to try, in order, the neutral one among them; beyond them nobody would build it.
    size_of : a setting as a share of what is there.
    """

    name: str
    turn: Set
    neutral: float
    settings: tuple[float, ...]
    size_of: Callable[[float], float]


def levers_of(machine: MachineModel) -> tuple[Lever, ...]:
    """The levers that a machine has: its gear, grip and balance, its arm, and a start that came late."""
    ratios = tuple(float(r) for r in np.geomspace(0.5, 2.0, 9))
    grips = tuple(float(r) for r in np.geomspace(0.7, 1.0 / 0.7, 9))
    out = []
    if machine.left is not None and machine.right is not None:
        out.append(Lever("gear", turn_gear, 1.0, ratios, lambda ratio: abs(math.log(ratio))))
    out.append(Lever("grip", turn_grip, 1.0, grips, lambda ratio: abs(math.log(ratio))))
    if machine.left is not None and machine.driven != "all":
        base_m = machine.wheelbase_m
        front_m, back_m = 0.5 * base_m - machine.centre_of_mass_m[0], 0.5 * base_m + machine.centre_of_mass_m[0]
        most_m = 0.35 * base_m
        shifts = tuple(float(x) for x in np.linspace(-min(most_m, back_m), min(most_m, front_m), 9))
        settings = tuple(sorted({*(x for x in shifts if abs(x) > 0.02 * base_m), 0.0}))
        out.append(Lever("weight", turn_weight, 0.0, settings, lambda shift_m: abs(shift_m) / base_m))
    if machine.arm is not None:
        out.append(Lever("arm", turn_arm, 1.0, ratios, lambda ratio: abs(math.log(ratio))))
    if machine.start_delay_s > 0.05:
        sooner = tuple(float(s) for s in np.linspace(0.0, machine.start_delay_s, 5))
        out.append(Lever("start", turn_start, 0.0, sooner, lambda s: s / machine.start_delay_s))
    return tuple(out)


def turn_gear(machine: MachineModel, ratio: float) -> MachineModel:
    """Another gear ratio: torque at the wheels grows with it, the free rate falls; rotors weigh as its square."""

    def geared(side: SideDrive | None) -> SideDrive | None:
        if side is None:
            return None
        return replace(
            side,
            stall_torque_Nm=side.stall_torque_Nm * ratio,
            free_rate_rad_s=side.free_rate_rad_s / ratio,
            inertia_kg_m2=side.inertia_kg_m2 * ratio**2,
        )

    return replace(machine, left=geared(machine.left), right=geared(machine.right))


def turn_grip(machine: MachineModel, ratio: float) -> MachineModel:
    """Wheels or runners that grip better or worse."""
    return replace(machine, grip_static=machine.grip_static * ratio, grip_sliding=machine.grip_sliding * ratio)


def turn_weight(machine: MachineModel, shift_m: float) -> MachineModel:
    """The centre of mass moved towards the front."""
    x, y, z = machine.centre_of_mass_m
    return replace(machine, centre_of_mass_m=(x + shift_m, y, z))


def turn_arm(machine: MachineModel, ratio: float) -> MachineModel:
    """An arm that takes another time to go out."""
    if machine.arm is None:
        return machine
    return replace(machine, arm=replace(machine.arm, lasts_s=machine.arm.lasts_s * ratio))


def turn_start(machine: MachineModel, sooner_s: float) -> MachineModel:
    """A start that comes sooner."""
    return replace(machine, start_delay_s=max(0.0, machine.start_delay_s - sooner_s))
