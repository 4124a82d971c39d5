"""Tension from a machine's drive: wheel rate on the motor's torque line, less what friction and acceleration take."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.machine import ASSUMED_WHEEL_INERTIA_KG_M2
from matchvision.mechanics.motor import drive_torque_Nm, throttle_share, wheel_free_rate_rad_s, wheel_stall_torque_Nm
from matchvision.mechanics.traction import gross_traction_N
from matchvision.pull.along import Along
from matchvision.pull.assembling import Numbers, assemble_source
from matchvision.pull.link import LOCAL_GRAVITY
from matchvision.pull.steadying import local_slope
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import Drive, Quantity, Run
from matchvision.uncertainty import Input

#: How well an operator follows a plan that was not logged, as a share of full drive (an assumption, k = 1).
U_PLAN_RATIO: Final = 0.05
#: What a log of the commands leaves open (its resolution and delay).
U_LOG_RATIO: Final = 0.01
#: Over this long the change of a slipping wheel's rate is read: the shortest over which it stands out of its noise.
RATE_OVER_S: Final = 0.1
#: A wheel's effective radius, at which a soft or sinking tread pushes, against one read with a rule: half a millimetre,
#: rectangular.
U_RADIUS_M: Final = 0.0005 / math.sqrt(3)
#: A pull must act against the drive direction by at least this share to be told from it.
LEAST_BACK: Final = 0.2


@dataclass(frozen=True, eq=False)
class KnownDrive:
    """One machine's drive with the share of full drive it was given in each frame (n,)."""

    machine: str
    end: int
    home: str
    mass_kg: float
    u_mass_kg: float
    driven_wheels: int | None
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
        match_s = clock.match_time(clip_s)
        # Before the start and after the end a plan says nothing, and a log only as far as its lines go: machines may be
        # held by hand or by a brake then.
        told_s = (0.0, clock.duration_s)
        if logged is not None:
            told_s = (min(told_s[0], float(logged[0, 0])), max(told_s[1], float(logged[-1, 0])))
        told = (match_s >= told_s[0]) & (match_s <= told_s[1])
        share = np.where(told, throttle_share(match_s, given), np.nan)
        drives.append(
            KnownDrive(
                machine=name,
                end=end,
                home=machine.home,
                mass_kg=machine.mass_kg,
                u_mass_kg=machine.u_mass_kg,
                driven_wheels=machine.driven_wheels,
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


def measure_drive(drive: KnownDrive, motion: Motion, along: Along) -> PullSource | None:
    """Tension from the torque that the drive gives its driven wheels; None without a wheel whose rate is seen.

    It holds whether the wheels grip or slip, since the ground takes the axle's torque either way. Wheels that hardly
    turn may have friction either way: it is then 0 ± its value, rectangular. While the wheels grip, they speed up as
    the machine does; else as their rate tells, over `RATE_OVER_S`.

    Notes
    -----
    ``T = ((Td − Tf sign ω − I dω/dt)/r − m (a + g sin θ) − c m g cos θ sign v) / (b − c p sign v)`` with drive torque
    Td, friction Tf at the wheels, I of all driven wheels with their gear, rolling resistance c, climb θ, ``b`` the
    share of the pull against the drive direction and ``p`` that which lifts. Wheel inertia that nobody stated lies
    between 0 and twice the usual.
    Checked by: tests/pull/test_drive.py::test_stalled_drive_pulls_with_its_stall_torque
    """
    wheels = [w for w in motion.wheels if w.machine == drive.machine and w.driven]
    rope = motion.rope
    if not wheels or rope is None:
        return None
    rate, u_rate = mean_over_wheels([w.rate_rad_s for w in wheels], [w.u_rate_rad_s for w in wheels])
    slip, u_slip = mean_over_wheels([w.slip_speed_m_s for w in wheels], [w.u_slip_speed_m_s for w in wheels])
    facts, name = drive.facts, drive.machine
    turning = np.where(np.abs(rate) > 3 * u_rate, np.sign(rate), 0.0)
    gripping = np.abs(slip) < 3 * u_slip
    spun, u_spun = local_slope(rate, u_rate, motion.real_s, RATE_OVER_S)
    none = Quantity(value=0.0)
    friction = facts.drive_friction_Nm or none
    usual = ASSUMED_WHEEL_INERTIA_KG_M2
    wheel_inertia = facts.wheel_inertia_kg_m2 or Quantity(value=usual, u=usual / math.sqrt(3))
    stated = {
        "stall torque": (facts.stall_torque_Nm or none, "N m"),
        "gear ratio": (facts.gear_ratio or none, "1"),
        "drive efficiency": (facts.drive_efficiency or Quantity(value=1.0), "1"),
        "no-load rate": (facts.no_load_rev_min or none, "rev/min"),
        "drive friction": (friction, "N m"),
        "supply sag": (facts.supply_sag_ratio or none, "1"),
        "rolling resistance": (facts.rolling_resistance or none, "1"),
        "wheel inertia": (wheel_inertia, "kg m²"),
        "effective wheel radius": (Quantity(value=wheels[0].radius_m, u=U_RADIUS_M), "m"),
        "mass": (Quantity(value=drive.mass_kg, u=drive.u_mass_kg), "kg"),
    }
    key = {short: f"{short} of {name}" for short in (*stated, "wheel rate", "throttle", "acceleration")}
    spinning, either_way = f"wheels' spinning up of {name}", f"direction of friction of {name}"
    inputs = [Input(key[short], quantity.value, quantity.u, unit) for short, (quantity, unit) in stated.items()]
    unknown_Nm = np.where(turning == 0, friction.value / math.sqrt(3), 0.0)
    inputs += [
        Input(key["throttle"], drive.share_ratio, drive.u_share_ratio, "1"),
        Input(key["wheel rate"], rate, u_rate, "rad/s", common=False),
        Input(key["acceleration"], along.accel_m_s2, along.u_accel_m_s2, "m/s²", common=False),
        Input(spinning, np.where(gripping, 0.0, spun), np.where(gripping, 0.0, u_spun), "rad/s²", common=False),
        Input(either_way, 0.0, unknown_Nm, "N m", rectangular=True),
        LOCAL_GRAVITY,
    ]
    number = (drive.driven_wheels or len(wheels)) * 1.0

    def tension(at: Mapping[str, Numbers]) -> FloatArray:
        stall = wheel_stall_torque_Nm(
            facts.motors or 0, at[key["stall torque"]], at[key["gear ratio"]], at[key["drive efficiency"]]
        )
        free = wheel_free_rate_rad_s(at[key["no-load rate"]], at[key["gear ratio"]])
        by_voltage = float(facts.throttle_acts_on == "voltage")
        given = drive_torque_Nm(
            at[key["wheel rate"]], at[key["throttle"]], stall, free, by_voltage, at[key["supply sag"]]
        )
        radius_m = at[key["effective wheel radius"]]
        spins = at[spinning] + at["gripping"] * at[key["acceleration"]] / radius_m
        rubbing = at[key["drive friction"]] * at["turning"] + at[either_way]
        ground_N = gross_traction_N(given - rubbing - number * at[key["wheel inertia"]] * spins, radius_m)
        resisting = at[key["rolling resistance"]] * at["rolling"]
        taken_N = at[key["mass"]] * (
            at[key["acceleration"]] + at["local gravity"] * (at["steep"] + resisting * at["level"])
        )
        return np.asarray((ground_N - taken_N) / (at["back"] - resisting * at["up"]), dtype=np.float64)

    exact: dict[str, Numbers] = {
        "turning": turning,
        "gripping": gripping.astype(np.float64),
        "rolling": along.rolling,
        # A wheel whose slip cannot be said was not seen well enough for its rate either.
        "back": np.where((along.back > LEAST_BACK) & np.isfinite(slip), along.back, np.nan),
        "up": along.up,
        "level": along.level,
        "steep": along.steep,
    }
    return assemble_source("drive", tension, inputs, exact, rope.slack == 1, independent=drive.independent)


def mean_over_wheels(values: list[FloatArray], u_values: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Mean over the wheels where it is seen; u as if they turned alike. NaN where none is seen."""
    value, u = np.stack(values), np.stack(u_values)
    seen = np.isfinite(value) & np.isfinite(u)
    count = seen.sum(axis=0)
    mean = np.where(count > 0, np.where(seen, value, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
    u_mean = np.where(count > 0, np.sqrt(np.where(seen, u**2, 0.0).sum(axis=0)) / np.maximum(count, 1), np.nan)
    return mean, u_mean
