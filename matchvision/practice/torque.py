"""A drive under load: how much of its motors' torque comes out at the wheels, by a pull that is known."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.motor import drive_torque_Nm, wheel_free_rate_rad_s
from matchvision.practice.budgets import Known, Numbers, Part, parts_of, weigh
from matchvision.practice.facts import (
    drive_facts,
    gravity,
    in_run,
    known,
    mass_of,
    radius_of,
    share_of_drive,
    span_of,
    turning_mass,
)
from matchvision.practice.series import mean_over_blocks, u_change_m_s2
from matchvision.practice.tension import SHORTEST_S, Tension
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeParameter
from matchvision.records.sheet import Run

#: The drive is read where it gives at least this share of its stall torque.
LEAST_DRIVE_RATIO: Final = 0.15
#: What is stated about a drive without which its torque cannot be taken apart.
NEEDED: Final = ("motors", "no_load_rev_min", "gear_ratio")


def measure_torque(run: Run, name: str, motion: Motion, clock: MatchClock, tension: Tension) -> PracticeParameter:
    """Drive efficiency, where the motors' stall torque is stated; else the stall torque of one motor.

    Raises
    ------
    CannotMeasure
        Where facts are missing, or the drive did not pull long enough with its wheels in view.

    Notes
    -----
    ``Ts = Σ d y / Σ d²`` over the frames, with ``y = r (T b + m a + c m g) + I dω/dt + Tf sign ω`` what the wheels were
    given and ``d`` the share of the stall torque that the motor line says for their rate and the throttle. Where the
    wheels stand, friction may help or hinder: it is 0 ± Tf there, rectangular; such frames are used only if there are
    no others.
    """
    machine, moved, rope = run.sheet.machine[name], motion.machines[name], motion.rope
    stated = drive_facts(run, name)
    facts = stated.drive
    radius, mass = radius_of(machine), mass_of(name, machine)
    lacking = [key for key in NEEDED if getattr(facts, key) is None]
    if lacking or radius is None or rope is None or run.sheet.rope is None:
        raise CannotMeasure(
            f"too little is stated about the drive of {name} to take its torque apart",
            do=f"add {', '.join(lacking) or '[[machine.X.wheel]]'} to [machine.{name}.drive] or [forecast.{name}]",
        )
    rate, u_rate = _rate(motion, name)
    heading = np.deg2rad(moved.heading_deg)
    end, side = run.sheet.rope.ends.index(name), 1.0 if machine.home == "+x" else -1.0
    back = -(rope.pull_dir_x[:, end] * np.cos(heading) + rope.pull_dir_y[:, end] * np.sin(heading))
    accel = moved.accel_m_s2 * side * np.cos(heading)
    spin = np.gradient(rate, motion.real_s)
    share = share_of_drive(run, name, facts, clock, motion.clip_s)
    wheels = turning_mass(machine, facts, float(radius.value))
    direction = Known("direction of friction at rest", 0.0, 1 / math.sqrt(3), "1")
    on_voltage = facts.throttle_acts_on == "voltage"
    turning = np.abs(rate) > 3 * u_rate

    def given(v: Mapping[str, Numbers]) -> FloatArray:
        """Share of the stall torque that the motor gives."""
        free = wheel_free_rate_rad_s(v["no-load rate"], v["gear ratio"])
        return np.asarray(drive_torque_Nm(rate, v["share of full drive"], 1.0, free, on_voltage, v["supply sag"]))

    def taken(v: Mapping[str, Numbers]) -> FloatArray:
        """Torque that pull, acceleration and friction take at the wheels."""
        r = v["wheel radius"]
        ground_N = v[tension.common.name] * back + v[mass.name] * (
            accel + v["rolling resistance"] * v["local gravity"] * np.where(turning, np.sign(rate), 0.0)
        )
        rubs = v["drive friction"] * np.where(turning, np.sign(rate), v[direction.name])
        return np.asarray(r * ground_N + v[wheels.name] * r**2 * spin + rubs)

    inputs = [
        tension.common, radius, mass, gravity(), wheels, share,
        known("no-load rate", facts.no_load_rev_min, 0.0, "rev/min"), known("gear ratio", facts.gear_ratio, 1.0, "1"),
        known("drive friction", facts.drive_friction_Nm, 0.0, "Nm"),
        known("supply sag", facts.supply_sag_ratio, 0.0, "1"),
        known("rolling resistance", facts.rolling_resistance, 0.0, "1"),
    ]  # fmt: skip
    values: dict[str, Numbers] = {i.name: i.value for i in (*inputs, direction)}
    use = _frames(motion, clock, tension, turning, given(values), taken(values))
    if not turning[use].any():
        inputs.append(direction)
    facts_known = [
        known("stall torque", facts.stall_torque_Nm, 0.0, "Nm"),
        known("drive efficiency", facts.drive_efficiency, 1.0, "1"),
    ]
    by_efficiency = facts.stall_torque_Nm is not None
    inputs.append(facts_known[0] if by_efficiency else facts_known[1])
    values |= {i.name: i.value for i in facts_known}

    def result(v: Mapping[str, Numbers], whole_Nm: float | None = None) -> float:
        if whole_Nm is None:
            d, y = given(v)[use], taken(v)[use]
            whole_Nm = float(d @ y / (d @ d))
        other = v["stall torque"] if by_efficiency else v["drive efficiency"]
        return float(whole_Nm / ((facts.motors or 1) * float(np.asarray(v["gear ratio"])) * float(np.asarray(other))))

    d = given(values)
    own_Nm = float(radius.value) * tension.own_N * np.abs(back)
    d = np.where(use, d, np.nan)
    mean = mean_over_blocks(taken(values) / d, own_Nm / d, motion.real_s, np.nan_to_num(d**2))
    by_scatter = result(values, mean.u)
    u_accel_m_s2 = u_change_m_s2(moved.u_speed_m_s, use, motion.real_s)
    by_ends = result(values, float(radius.value) * float(mass.value) * u_accel_m_s2 / float(np.nanmean(d)))
    parts = [
        Part("scatter over the run", by_scatter, mean.degrees),
        Part("speed at both ends", by_ends),
        *parts_of(lambda v: result({**values, **v}), inputs),
    ]
    span_s = span_of(use, clock, motion)
    standing = "" if turning[use].any() else " The wheels stood, so that friction may have helped or hindered."
    pulled_N, ran, drove = (float(np.mean(np.asarray(x)[use])) for x in (tension.value_N, rate, share.value))
    how = (
        f"{name} pulled with {pulled_N:.1f} N on average (by the {tension.word}), its wheels at {ran:.2f} rad/s and "
        f"{100 * drove:.0f} % of full drive.{standing}"
    )
    how += stated.say_taken("motors", "stall_torque_Nm", "no_load_rev_min", "gear_ratio", "drive_friction_Nm")
    if by_efficiency:
        return weigh(
            ("machine", name, "drive", "drive_efficiency"),
            f"drive efficiency of {name}",
            result(values),
            "1",
            parts,
            how,
            span_s,
        )
    return weigh(
        ("machine", name, "drive", "stall_torque_Nm"),
        f"stall torque of one motor of {name}",
        result(values),
        "Nm",
        parts,
        how,
        span_s,
    )


def _rate(motion: Motion, name: str) -> tuple[FloatArray, FloatArray]:
    """Rate of the driven wheel that was seen in most frames (n,), with its uncertainty."""
    wheels = [w for w in motion.wheels if w.machine == name and w.driven]
    if not wheels:
        raise CannotMeasure(
            f"no wheel of {name} was seen turning", do="put two marks on the rim of a driven wheel on the camera's side"
        )
    best = max(wheels, key=lambda w: int(np.isfinite(w.rate_rad_s).sum()))
    return best.rate_rad_s, best.u_rate_rad_s


def _frames(
    motion: Motion, clock: MatchClock, tension: Tension, turning: BoolArray, given: FloatArray, taken: FloatArray
) -> BoolArray:
    """Frames in which the drive is read: it pulls, its wheels turn (or stand, if they never turn), and all is known."""
    slack = motion.rope.slack == 1 if motion.rope is not None else np.zeros(len(given), dtype=np.bool_)
    pulls = in_run(clock, motion) & np.isfinite(taken) & np.isfinite(tension.own_N) & ~slack & (tension.value_N > 0)
    pulls &= np.nan_to_num(given) >= LEAST_DRIVE_RATIO
    step_s = np.gradient(motion.real_s)
    for use in (pulls & turning, pulls):
        if float(step_s[use].sum()) >= SHORTEST_S:
            return np.asarray(use)
    raise CannotMeasure(
        f"the drive did not pull for {SHORTEST_S:g} s with its wheels in view and its share of full drive known",
        do="pull for longer, with the throttle in the sheet or logged",
    )
