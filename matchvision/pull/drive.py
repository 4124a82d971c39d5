"""Tension from a machine's drive: wheel rate on the motor's torque line, less what friction and acceleration take."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.mechanics.motor import drive_torque_Nm, throttle_share, wheel_free_rate_rad_s, wheel_stall_torque_Nm
from matchvision.mechanics.traction import gross_traction_N
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import BudgetLine, PullSource
from matchvision.records.sheet import Drive, Quantity, Run
from matchvision.uncertainty import parts_of_uncertainty

FloatArray = npt.NDArray[np.float64]

#: How well an operator follows a plan that was not logged, as a share of full drive (an assumption, k = 1).
U_PLAN_RATIO: Final = 0.05
#: What a log of the commands leaves open (its resolution and delay).
U_LOG_RATIO: Final = 0.01


@dataclass(frozen=True, eq=False)
class KnownDrive:
    """One machine's drive with the share of full drive it was given in each frame (n,)."""

    machine: str
    end: int
    side: int
    mass_kg: float
    u_mass_kg: float
    facts: Drive
    share_ratio: FloatArray
    u_share_ratio: float
    independent: bool


def known_drives(run: Run, clock: MatchClock, clip_s: FloatArray) -> tuple[KnownDrive, ...]:
    """Drives of the machines on the rope whose motor line is stated, as measured or else as forecast.

    Only a drive measured beforehand, with a log of its commands or a throttle of its own, is independent of the
    forecast.
    """
    rope = run.sheet.rope
    if rope is None:
        return ()
    drives = []
    for end, name in enumerate(rope.ends):
        machine = run.sheet.machine.get(name)
        if machine is None or machine.mass_kg is None:
            continue
        planned = run.sheet.forecast.get(name)
        facts: Drive | None = machine.drive
        if facts is None or not states_motor_line(facts):
            facts = planned
        if facts is None or not states_motor_line(facts):
            continue
        logged = run.commands.get(name)
        plan = facts.throttle or (planned.throttle if planned is not None else ())
        independent = facts is machine.drive and (logged is not None or bool(facts.throttle))
        if logged is None and not plan:
            continue
        # Left and right shares, where they are logged apart, act on one machine's halves.
        given = plan if logged is None else np.column_stack([logged[:, 0], logged[:, 1:].mean(axis=1)])
        share = throttle_share(clock.match_time(clip_s), given)
        drives.append(
            KnownDrive(
                machine=name,
                end=end,
                side=1 if machine.home == "+x" else -1,
                mass_kg=machine.mass_kg,
                u_mass_kg=machine.u_mass_kg,
                facts=facts,
                share_ratio=share,
                u_share_ratio=U_PLAN_RATIO if logged is None else U_LOG_RATIO,
                independent=independent,
            )
        )
    return tuple(drives)


def states_motor_line(facts: Drive) -> bool:
    """Whether a drive's stall torque and no-load rate at the wheels follow from what is stated."""
    return bool(facts.motors) and None not in (facts.stall_torque_Nm, facts.no_load_rev_min, facts.gear_ratio)


def measure_drive(drive: KnownDrive, motion: Motion) -> PullSource | None:
    """Tension from the torque that the drive gives its driven wheels; None without a wheel whose rate is seen.

    It holds whether the wheels grip or slip, since the ground takes the axle's torque either way. Wheels that hardly
    turn may have friction either way: it is then 0 ± its value, rectangular. The wheels' own inertia is left out.

    Notes
    -----
    ``T = ((Td − Tf sign ω)/r − m a − c m g sign v) / b`` with drive torque Td, friction Tf at the wheels, rolling
    resistance c and ``b`` the share of the pull against the drive direction. First order over all inputs.
    Checked by: tests/pull/test_drive.py::test_stalled_drive_pulls_with_its_stall_torque
    """
    wheels = [w for w in motion.wheels if w.machine == drive.machine and w.driven]
    rope, moved = motion.rope, motion.machines.get(drive.machine)
    if not wheels or rope is None or moved is None:
        return None
    rate, u_rate = _mean_rate([w.rate_rad_s for w in wheels], [w.u_rate_rad_s for w in wheels])
    heading = np.deg2rad(moved.heading_deg)
    accel = moved.accel_m_s2 * drive.side * np.cos(heading)
    speed = moved.speed_m_s * drive.side * np.cos(heading)
    back = -(rope.pull_dir_x[:, drive.end] * np.cos(heading) + rope.pull_dir_y[:, drive.end] * np.sin(heading))
    back = np.where(back > 0.2, back, np.nan)
    facts, radius_m = drive.facts, wheels[0].radius_m
    turning = np.where(np.abs(rate) > 3 * u_rate, np.sign(rate), 0.0)
    rolling = np.where(np.abs(speed) > 3 * moved.u_speed_m_s, np.sign(speed), 0.0)

    def tension(at: Mapping[str, FloatArray | float]) -> FloatArray:
        stall = wheel_stall_torque_Nm(facts.motors or 0, at["stall torque"], at["gear ratio"], at["drive efficiency"])
        free = wheel_free_rate_rad_s(at["no-load rate"], at["gear ratio"])
        given = drive_torque_Nm(
            at["wheel rate"], at["throttle"], stall, free, float(facts.throttle_acts_on == "voltage"), at["supply sag"]
        )
        ground_N = gross_traction_N(given - at["drive friction"] * turning, radius_m)
        taken_N = at["mass"] * (at["acceleration"] + at["rolling resistance"] * STANDARD_GRAVITY_M_S2 * rolling)
        return np.asarray((ground_N - taken_N) / back, dtype=np.float64)

    none = Quantity(value=0.0)
    stated = {
        "stall torque": facts.stall_torque_Nm or none,
        "gear ratio": facts.gear_ratio or none,
        "drive efficiency": facts.drive_efficiency or Quantity(value=1.0),
        "no-load rate": facts.no_load_rev_min or none,
        "drive friction": facts.drive_friction_Nm or none,
        "supply sag": facts.supply_sag_ratio or none,
        "rolling resistance": facts.rolling_resistance or none,
        "mass": Quantity(value=drive.mass_kg, u=drive.u_mass_kg),
    }
    values: dict[str, FloatArray | float] = {name: quantity.value for name, quantity in stated.items()}
    values |= {"wheel rate": rate, "throttle": drive.share_ratio, "acceleration": accel}
    u_common: dict[str, FloatArray | float] = {name: quantity.u for name, quantity in stated.items() if quantity.u > 0}
    u_common["throttle"] = drive.u_share_ratio
    u_own: dict[str, FloatArray | float] = {"wheel rate": u_rate, "acceleration": moved.u_accel_m_s2}

    common, own = (parts_of_uncertainty(tension, values, u_inputs) for u_inputs in (u_common, u_own))
    friction_N = (facts.drive_friction_Nm or none).value / np.sqrt(3) / radius_m / back
    common["direction of friction"] = np.where(turning == 0, friction_N, 0.0)
    common_N = np.sqrt(np.sum([part**2 for part in common.values()], axis=0))
    own_N = np.sqrt(np.sum([part**2 for part in own.values()], axis=0))
    slack = rope.slack == 1
    tension_N = np.where(slack, 0.0, tension(values))
    common_N = np.where(slack, 0.0, common_N)
    budget: tuple[BudgetLine, ...] = ()
    if np.isfinite(tension_N).any():
        peak = int(np.nanargmax(tension_N))
        budget = tuple(
            BudgetLine(f"{name} of {drive.machine}", float(part[peak]), "N", common=group is common)
            for group in (own, common)
            for name, part in group.items()
            if part[peak] > 0
        )
    return PullSource("drive", tension_N, np.hypot(own_N, common_N), common_N, drive.independent, budget)


def join_drives(sources: list[PullSource]) -> PullSource:
    """One drive source from one or two machines' drives, by inverse variance; u widened where the two differ.

    A drive that is independent of the forecast is not mixed with one that is not.
    """
    chosen = [s for s in sources if s.independent] or sources
    if len(chosen) == 1:
        return chosen[0]
    tension_N, u_N, common_N = (np.stack(part) for part in zip(*_series(chosen), strict=True))
    known = np.isfinite(tension_N) & np.isfinite(u_N) & (u_N > 0)
    weight = np.where(known, 1 / np.where(known, u_N, 1.0) ** 2, 0.0)
    total = weight.sum(axis=0)
    share = weight / np.where(total > 0, total, 1.0)
    joined_N = np.where(total > 0, np.sum(share * np.where(known, tension_N, 0.0), axis=0), np.nan)
    spread = np.sum(np.where(known, weight * (tension_N - joined_N) ** 2, 0.0), axis=0)
    birge = np.sqrt(np.maximum(1.0, spread / np.maximum(1, known.sum(axis=0) - 1)))
    u_joined_N = np.where(total > 0, birge / np.sqrt(np.where(total > 0, total, 1.0)), np.nan)
    shared_N = np.sqrt(np.sum((share * np.where(known, common_N, 0.0)) ** 2, axis=0)) * birge
    budget: tuple[BudgetLine, ...] = ()
    if np.isfinite(joined_N).any():
        peak = int(np.nanargmax(joined_N))
        budget = tuple(
            BudgetLine(line.name, float(share[k, peak]) * line.u, line.unit, line.common)
            for k, s in enumerate(chosen)
            for line in s.budget
            if share[k, peak] > 0
        )
    shared_N = np.where(np.isfinite(u_joined_N), np.minimum(shared_N, u_joined_N), np.nan)
    return PullSource("drive", joined_N, u_joined_N, shared_N, chosen[0].independent, budget)


def _series(sources: list[PullSource]) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    return [(s.tension_N, s.u_tension_N, s.u_common_N) for s in sources]


def _mean_rate(rates: list[FloatArray], u_rates: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Mean over the driven wheels whose rate is seen; u as if they turned alike."""
    rate, u = np.stack(rates), np.stack(u_rates)
    seen = np.isfinite(rate) & np.isfinite(u)
    count = seen.sum(axis=0)
    mean = np.where(count > 0, np.where(seen, rate, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
    u_mean = np.where(count > 0, np.sqrt(np.where(seen, u**2, 0.0).sum(axis=0)) / np.maximum(count, 1), np.nan)
    return mean, u_mean
