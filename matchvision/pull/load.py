"""Tension from a known load: what it takes to drag a weight with measured sliding friction and to speed it up."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.geometry.profile import surface_slope
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.pull.link import U_GRAVITY_RATIO
from matchvision.records.motion import MachineMotion, RopeMotion
from matchvision.records.pull import BudgetLine, PullSource
from matchvision.records.sheet import Quantity, RunSheet, TableSheet

FloatArray = npt.NDArray[np.float64]

#: Slower than this a load may stand: friction is then anything up to its greatest value and says nothing.
MOVING_M_S: Final = 0.010
#: A load whose size the sheet does not give may reach this far to either side of its middle [m].
USUAL_REACH_M: Final = 0.15


@dataclass(frozen=True)
class KnownLoad:
    """A dragged weight: ``end`` is the rope end (0 or 1) hitched to it; ``side`` is +1 for home +x, else -1."""

    machine: str
    end: int
    side: int
    mass_kg: float
    u_mass_kg: float
    friction: Quantity
    independent: bool
    reach_m: float = USUAL_REACH_M


def known_loads(sheet: RunSheet) -> tuple[KnownLoad, ...]:
    """Loads of known mass and sliding friction on the rope.

    Friction that stands only in the forecast makes the load's pull lean on the forecast: not independent.
    """
    if sheet.rope is None:
        return ()
    loads = []
    for end, name in enumerate(sheet.rope.ends):
        machine = sheet.machine.get(name)
        if machine is None or machine.mass_kg is None:
            continue
        friction, independent = None, True
        if machine.load is not None:
            friction = machine.load.grip_sliding
        elif not machine.wheel and machine.anchor is None and name in sheet.forecast:
            planned = sheet.forecast[name]
            if not planned.motors and planned.stall_torque_Nm is None:
                friction, independent = planned.grip_sliding, False
        if friction is None:
            continue
        side = 1 if machine.home == "+x" else -1
        reach_m = USUAL_REACH_M if machine.size_m is None else machine.size_m[0] / 2
        loads.append(KnownLoad(name, end, side, machine.mass_kg, machine.u_mass_kg, friction, independent, reach_m))
    return tuple(loads)


def is_level(table: TableSheet) -> bool:
    """Whether the table is flat, as far as its sheet says."""
    return all(z == 0 for _, z in table.profile_m)


def slope_under(load: KnownLoad, table: TableSheet, x_m: FloatArray) -> FloatArray:
    """Slope (n,) [rad], rising towards +x, of the piece of table on which the whole load lies; NaN astride a bend."""
    if is_level(table):
        return np.zeros_like(x_m)
    ahead = np.arctan(surface_slope(table.profile_m, x_m + load.reach_m))
    behind = np.arctan(surface_slope(table.profile_m, x_m - load.reach_m))
    bends = np.array([x for x, _ in table.profile_m])
    astride = (np.abs(x_m[:, None] - bends) < load.reach_m).any(axis=1)
    return np.where(astride | (ahead != behind), np.nan, ahead)


def measure_load(
    load: KnownLoad, motion: MachineMotion, rope: RopeMotion, slope_rad: FloatArray | float = 0.0
) -> PullSource:
    """Tension from a load's acceleration and friction, while it moves faster than `MOVING_M_S`.

    The friction is taken to be the stated one everywhere: on a rougher or smoother stretch of the table this source
    is wrong by more than its uncertainty, which only another source can show.

    Parameters
    ----------
    slope_rad : (n,) float array or float
        Slope of the table under it, rising towards +x; NaN where it cannot be said.

    Notes
    -----
    Along the load's velocity, which climbs at θ, with ``c`` the share of the pull along it and ``p`` the share away
    from the surface: ``T c - μ (m g cos θ - T p) - m g sin θ = m a``, so
    ``T = m (a + μ g cos θ + g sin θ) / (c + μ p)``. A rope that rises from the load lifts part of its weight.
    First-order propagation (GUM 5.1) over m, μ, a and g.
    Checked by: tests/pull/test_load.py::test_steady_drag_is_the_weight_times_friction
    """
    mass_kg, mu, u_mu = load.mass_kg, load.friction.value, load.friction.u
    way = np.sign(motion.speed_m_s)
    accel_m_s2 = way * motion.accel_m_s2
    climb_rad = way * load.side * slope_rad
    level, steep = np.cos(climb_rad), np.sin(climb_rad)
    ahead, above = way * load.side * rope.pull_dir_x[:, load.end], rope.pull_dir_z[:, load.end]
    along, upwards = ahead * level + above * steep, above * level - ahead * steep
    lever = along + mu * upwards
    moving = (np.abs(motion.speed_m_s) > np.maximum(MOVING_M_S, 2 * motion.u_speed_m_s)) & (lever > 0.2)
    lever = np.where(moving, lever, np.nan)
    weight_N = mass_kg * STANDARD_GRAVITY_M_S2
    inertial_N = mass_kg * accel_m_s2 + weight_N * (mu * level + steep)
    tension_N = inertial_N / lever
    own_N = mass_kg * motion.u_accel_m_s2 / lever
    parts = {
        f"sliding friction of {load.machine}": np.abs(weight_N * level - tension_N * upwards) / lever * u_mu,
        f"mass of {load.machine}": np.abs(tension_N) / mass_kg * load.u_mass_kg,
        "local gravity": np.abs(weight_N * (mu * level + steep)) * U_GRAVITY_RATIO / lever,
    }
    common_N = np.sqrt(np.sum([part**2 for part in parts.values()], axis=0))
    slack = rope.slack == 1
    own_N = np.where(slack, mass_kg * motion.u_accel_m_s2, own_N)
    tension_N, common_N = np.where(slack, 0.0, tension_N), np.where(slack, 0.0, common_N)
    budget: tuple[BudgetLine, ...] = ()
    if np.isfinite(tension_N).any():
        peak = int(np.nanargmax(tension_N))
        budget = (
            BudgetLine(f"acceleration of {load.machine}", float(own_N[peak]), "N", common=False),
            *(BudgetLine(name, float(part[peak]), "N", common=True) for name, part in parts.items() if part[peak] > 0),
        )
    return PullSource("inertia", tension_N, np.hypot(own_N, common_N), common_N, load.independent, budget)
