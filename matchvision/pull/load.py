"""Tension from a known load: what it takes to drag or roll a weight, to lift a hanging one, and to speed it up."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.pull.along import USUAL_REACH_M, Along
from matchvision.pull.assembling import Numbers, assemble_source
from matchvision.pull.link import LOCAL_GRAVITY
from matchvision.pull.steadying import ACCELERATION_OVER_S, lasting
from matchvision.records.motion import MachineMotion, RopeMotion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import Machine, Quantity, RunSheet
from matchvision.uncertainty import Input

#: Slower than this a load may stand: friction is then anything up to its greatest value and says nothing.
MOVING_M_S: Final = 0.010
#: A load that moves for no longer sticks and slips: its accelerations, means over 0.1 s, take in starting and stopping
#: at both ends, and between them there must be room for one that does not.
LEAST_MOVING_S: Final = 3 * ACCELERATION_OVER_S


@dataclass(frozen=True)
class KnownLoad:
    """A load on the rope: ``end`` is the rope end (0 or 1) hitched to it; ``side`` is +1 for home +x, else -1.

    ``friction`` is the coefficient of what it drags over (or rolls on); for a hanging weight the share of the pull that
    its pulley takes.
    """

    machine: str
    end: int
    side: int
    mass_kg: float
    u_mass_kg: float
    friction: Quantity
    independent: bool
    reach_m: float = USUAL_REACH_M
    rolls: bool = False
    hangs: bool = False


def known_loads(sheet: RunSheet) -> tuple[KnownLoad, ...]:
    """Loads of known mass and friction on the rope: dragged, rolling without a drive, or hanging.

    Friction that stands only in the forecast makes the load's pull lean on the forecast: not independent.
    """
    if sheet.rope is None:
        return ()
    loads = []
    for end, name in enumerate(sheet.rope.ends):
        machine = sheet.machine.get(name)
        if machine is None or machine.mass_kg is None:
            continue
        friction, independent, rolls = _friction_of(sheet, name, machine)
        if friction is None:
            continue
        side = 1 if machine.home == "+x" else -1
        reach_m = USUAL_REACH_M if machine.size_m is None else machine.size_m[0] / 2
        hangs = machine.load is not None and machine.load.hangs
        loads.append(
            KnownLoad(name, end, side, machine.mass_kg, machine.u_mass_kg, friction, independent, reach_m, rolls, hangs)
        )
    return tuple(loads)


def _friction_of(sheet: RunSheet, name: str, machine: Machine) -> tuple[Quantity | None, bool, bool]:
    """Friction, whether it is independent of the forecast, and whether it is that of wheels that nobody drives."""
    if machine.load is not None and machine.load.hangs:
        return machine.load.pulley_loss_ratio or Quantity(value=0.0), True, False
    if machine.load is not None and machine.load.grip_sliding is not None:
        return machine.load.grip_sliding, True, False
    if machine.driven_wheels == 0 and machine.drive is not None and machine.drive.rolling_resistance is not None:
        return machine.drive.rolling_resistance, True, True
    if not machine.wheel and machine.anchor is None and name in sheet.forecast:
        planned = sheet.forecast[name]
        if not planned.motors and planned.stall_torque_Nm is None:
            return planned.grip_sliding, False, False
    return None, True, False


def measure_load(
    load: KnownLoad,
    motion: MachineMotion,
    rope: RopeMotion,
    slope_rad: FloatArray | float = 0.0,
    real_s: FloatArray | None = None,
) -> PullSource:
    """Tension from a load's acceleration and friction, while it moves faster than `MOVING_M_S`.

    One that sticks and slips starts and stops more abruptly than places show: nothing is said where it moves for less
    than `LEAST_MOVING_S`. The friction is taken to be the stated one everywhere: on a rougher or smoother stretch of
    the table this source is wrong by more than its uncertainty, which only another source can show.

    Parameters
    ----------
    slope_rad : (n,) float array or float
        Slope of the table under it, rising towards +x; NaN where it cannot be said.
    real_s : (n,) float array, optional
        Time of the frames [s]; without it each frame stands for itself.

    Notes
    -----
    Along the load's velocity, which climbs at θ, with ``c`` the share of the pull along it and ``p`` the share away
    from the surface: ``T c - μ (m g cos θ - T p) - m g sin θ = m a``, so
    ``T = m (a + μ g cos θ + g sin θ) / (c + μ p)``. A rope that rises from the load lifts part of its weight.
    Checked by: tests/pull/test_load.py::test_steady_drag_is_the_weight_times_friction
    """
    way = np.sign(motion.speed_m_s)
    climb_rad = way * load.side * slope_rad
    level, steep = np.cos(climb_rad), np.sin(climb_rad)
    ahead, above = way * load.side * rope.pull_dir_x[:, load.end], rope.pull_dir_z[:, load.end]
    along, upwards = ahead * level + above * steep, above * level - ahead * steep
    moving = np.abs(motion.speed_m_s) > np.maximum(MOVING_M_S, 2 * motion.u_speed_m_s)
    if real_s is not None:
        moving = lasting(moving, real_s, LEAST_MOVING_S)
    usable = moving & (along + load.friction.value * upwards > 0.2)
    mass, accel = f"mass of {load.machine}", f"acceleration of {load.machine}"
    friction = f"{'rolling resistance' if load.rolls else 'sliding friction'} of {load.machine}"
    inputs = [
        Input(accel, way * motion.accel_m_s2, way * motion.u_accel_m_s2, "m/s²", common=False),
        Input(friction, load.friction.value, load.friction.u, "1"),
        Input(mass, load.mass_kg, load.u_mass_kg, "kg"),
        LOCAL_GRAVITY,
    ]

    def tension(at: Mapping[str, Numbers]) -> FloatArray:
        taken = at[accel] + at["local gravity"] * (at[friction] * at["level"] + at["steep"])
        lever = np.asarray(at["along"] + at[friction] * at["upwards"], dtype=np.float64)
        return np.asarray(at[mass] * taken / np.where(np.asarray(at["usable"]) > 0, lever, np.nan), dtype=np.float64)

    exact: dict[str, Numbers] = {"level": level, "steep": steep, "along": along, "upwards": upwards}
    exact["usable"] = usable.astype(np.float64)
    return assemble_source("inertia", tension, inputs, exact, rope.slack == 1, independent=load.independent)


def measure_hanging(load: KnownLoad, puller: str, along: Along, slack: FloatArray) -> PullSource:
    """Tension at the machine that lifts a weight over a pulley.

    The weight itself need not be seen: a taut rope passes the machine's own acceleration on to it. At rest the pulley's
    friction may act either way: rectangular.

    Notes
    -----
    ``T = m (g + a) (1 + loss · sign v)`` with a and v of the machine, forward positive.
    Checked by: tests/pull/test_load.py::test_hanging_weight_pulls_with_its_weight_and_what_speeds_it_up
    """
    loss = load.friction
    way = np.where(np.abs(along.speed_m_s) > np.maximum(MOVING_M_S, 2 * along.u_speed_m_s), np.sign(along.speed_m_s), 0)
    mass, accel = f"mass of {load.machine}", f"acceleration of {puller}"
    inputs = [
        Input(accel, along.accel_m_s2, along.u_accel_m_s2, "m/s²", common=False),
        Input(mass, load.mass_kg, load.u_mass_kg, "kg"),
        Input("pulley's loss", loss.value, loss.u, "1"),
        Input("pulley's loss, at rest", 0.0, np.where(way == 0, loss.value / math.sqrt(3), 0.0), "1", rectangular=True),
        LOCAL_GRAVITY,
    ]

    def tension(at: Mapping[str, Numbers]) -> FloatArray:
        carried_N = at[mass] * (at["local gravity"] + at[accel])
        return np.asarray(
            carried_N * (1 + at["pulley's loss"] * at["way"] + at["pulley's loss, at rest"]), dtype=np.float64
        )

    return assemble_source("inertia", tension, inputs, {"way": way}, slack == 1, independent=load.independent)
