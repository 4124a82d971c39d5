"""A free run without a rope: the wheels' effective radius, and the motor's rate at no load."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.motor import RAD_S_PER_REV_MIN, wheel_stall_torque_Nm
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
    speed_along,
    turning_mass,
)
from matchvision.practice.series import fit_curve, longest_run, mean_over_blocks
from matchvision.practice.travel import follow
from matchvision.records.camera import Cameras
from matchvision.records.motion import MatchClock, Motion, WheelMotion
from matchvision.records.practice import PracticeParameter
from matchvision.records.sheet import Run

#: It runs freely while it goes at this share of its greatest speed or faster.
STEADY_RATIO: Final = 0.9
#: Shorter free running leaves radius and rate too unsure [s].
SHORTEST_S: Final = 0.5


def measure_free(
    run: Run, name: str, motion: Motion, cameras: Cameras, clock: MatchClock, missing: list[str]
) -> list[PracticeParameter]:
    """Effective radius of the marked wheel, and the motor's no-load rate where the drive's other numbers are stated.

    Raises
    ------
    CannotMeasure
        Where no wheel's turning was seen, or it did not run freely for half a second.
    """
    wheel = next((w for w in motion.wheels if w.machine == name and w.driven), None)
    if wheel is None:
        raise CannotMeasure(
            f"no wheel of {name} was seen turning", do="put two marks on the rim of a driven wheel on the camera's side"
        )
    frames = steady_frames(motion, name, clock)
    if not frames.any() or np.ptp(motion.real_s[frames]) < SHORTEST_S:
        raise CannotMeasure(f"{name} did not run freely for {SHORTEST_S:g} s", do="give it more way, without a rope")
    found = [_radius(run, name, wheel, motion, cameras, clock, frames)]
    rate = _no_load(run, name, wheel, motion, clock, frames, missing)
    return found if rate is None else [*found, rate]


def steady_frames(motion: Motion, name: str, clock: MatchClock) -> BoolArray:
    """The longest stretch of the run at nearly its greatest speed."""
    speed = np.where(in_run(clock, motion), speed_along(motion.machines[name]), np.nan)
    if not np.isfinite(speed).any():
        return np.zeros(len(speed), dtype=np.bool_)
    greatest = float(np.nanpercentile(speed, 90))
    return longest_run(np.nan_to_num(speed) >= STEADY_RATIO * greatest, motion.real_s)


def _radius(
    run: Run, name: str, wheel: WheelMotion, motion: Motion, cameras: Cameras, clock: MatchClock, frames: BoolArray
) -> PracticeParameter:
    """Way of the wheel's hub over the angle that it turned.

    Notes
    -----
    The hub's way is the machine's less ``y`` times its turning, y to the left: longer on the outer side of a bend.
    """
    machine, moved = run.sheet.machine[name], motion.machines[name]
    place_y_m = next(w.face_m[1] for w in machine.wheel if w.name == wheel.wheel)
    known_frames = frames & np.isfinite(wheel.angle_rad) & np.isfinite(moved.heading_deg)
    trail = follow(name, motion, cameras, run.sheet.table.profile_m, known_frames)
    heading = np.deg2rad(moved.heading_deg[trail.frames])
    ahead = float(np.sign(trail.forward[0] * np.cos(heading.mean()))) or 1.0
    angle = wheel.angle_rad[trail.frames]
    design = np.stack([np.ones_like(angle), angle - angle.mean()], axis=1)

    def radius(way: FloatArray) -> float:
        return float(np.linalg.lstsq(design, ahead * way - place_y_m * (heading - heading[0]), rcond=None)[0][1])

    way = trail.way()
    curve = fit_curve(design, ahead * way - place_y_m * (heading - heading[0]), trail.real_s)
    value, turned = radius(way), float(np.ptp(angle))
    u_ends = float(np.median(wheel.u_angle_rad[trail.frames])) * np.sqrt(2) / turned
    u_turn = abs(place_y_m) * np.deg2rad(float(np.median(moved.u_heading_deg[trail.frames]))) * np.sqrt(2) / turned
    parts = [
        Part("way and angle in the picture", curve.u(1), curve.degrees),
        Part(
            "wheel angle at both ends",
            value * u_ends,
            value=turned,
            u_value=turned * u_ends,
            value_unit="rad",
            sensitivity=-value / turned,
        ),
        Part("heading at both ends", u_turn),
        *trail.parts(radius),
    ]
    span_s = span_of(trail.frames, clock, motion)
    how = f'{name} went {abs(float(np.ptp(way))):.3f} m while its wheel "{wheel.wheel}" turned by {turned:.1f} rad.'
    return weigh(
        ("machine", name, "wheel", "radius_m"), f"effective wheel radius of {name}", value, "m", parts, how, span_s,
        takes_u=False, stated=False,
    )  # fmt: skip


def _no_load(
    run: Run, name: str, wheel: WheelMotion, motion: Motion, clock: MatchClock, frames: BoolArray, missing: list[str]
) -> PracticeParameter | None:
    """Rate at which the motor would run if nothing braked the wheels.

    Notes
    -----
    At the steady wheel rate ω the drive gives what friction takes, ``P = Tf + r (c m g + (m + I/r²) a)``. With P/Ts = p
    and the share s of full drive: ``ω0 = ω / (1 − p/s)`` where the throttle acts on the torque, ``ω0 = ω / (s − p)``
    where it acts on the voltage. Supply sag multiplies Ts by ``1/(1 + sag · s)``.
    """
    machine, moved = run.sheet.machine[name], motion.machines[name]
    stated, radius = drive_facts(run, name), radius_of(machine)
    facts = stated.drive
    wanted = [
        key for key in ("motors", "stall_torque_Nm", "gear_ratio", "drive_friction_Nm") if getattr(facts, key) is None
    ]
    if wanted or radius is None:
        missing.append(
            f"The no-load rate of {name} takes what is stated about its drive: add {', '.join(wanted)} to "
            f"[machine.{name}.drive] or [forecast.{name}]."
        )
        return None
    use = frames & np.isfinite(wheel.rate_rad_s)
    rate = mean_over_blocks(wheel.rate_rad_s, wheel.u_rate_rad_s, motion.real_s, use.astype(float))
    speeding = mean_over_blocks(
        moved.accel_m_s2 * np.sign(moved.speed_m_s), moved.u_accel_m_s2, motion.real_s, use.astype(float)
    )
    share = share_of_drive(run, name, facts, clock, motion.clip_s)
    wheels = turning_mass(machine, facts, float(radius.value))
    inputs = [
        known("stall torque", facts.stall_torque_Nm, 0.0, "Nm"),
        known("gear ratio", facts.gear_ratio, 1.0, "1"),
        known("drive efficiency", facts.drive_efficiency, 1.0, "1"),
        known("drive friction", facts.drive_friction_Nm, 0.0, "Nm"),
        known("rolling resistance", facts.rolling_resistance, 0.0, "1"),
        known("supply sag", facts.supply_sag_ratio, 0.0, "1"),
        Known("share of full drive", _mean(share.value, use), _mean(share.u, use), "1"),
        mass_of(name, machine),
        radius,
        gravity(),
        wheels,
    ]
    motors, on_voltage = facts.motors or 0, facts.throttle_acts_on == "voltage"

    def no_load(
        values: Mapping[str, Numbers], rate_rad_s: float = rate.value, accel_m_s2: float = speeding.value
    ) -> float:
        given = share_s = float(np.asarray(values["share of full drive"]))
        stall = wheel_stall_torque_Nm(motors, values["stall torque"], values["gear ratio"], values["drive efficiency"])
        stall = stall / (1 + values["supply sag"] * share_s)
        mass = values[f"mass of {name}"]
        ground_N = (
            values["rolling resistance"] * mass * values["local gravity"] + (mass + values[wheels.name]) * accel_m_s2
        )
        taken = (values["drive friction"] + values["wheel radius"] * ground_N) / stall
        free = rate_rad_s / (share_s - taken) if on_voltage else rate_rad_s / (1 - taken / given)
        return float(free * values["gear ratio"] / RAD_S_PER_REV_MIN)

    values: dict[str, Numbers] = {i.name: i.value for i in inputs}
    value = no_load(values)
    by_rate, by_speeding = (
        no_load(values, rate.value + rate.u) - value,
        no_load(values, rate.value, speeding.value + speeding.u) - value,
    )
    parts = [
        Part("wheel rate", abs(by_rate), rate.degrees, rate.value, rate.u, "rad/s", by_rate / max(rate.u, 1e-12)),
        Part(
            "acceleration",
            abs(by_speeding),
            speeding.degrees,
            speeding.value,
            speeding.u,
            "m/s²",
            by_speeding / max(speeding.u, 1e-12),
        ),
        *parts_of(no_load, inputs),
    ]
    span_s = span_of(use, clock, motion)
    drove = 100 * float(np.asarray(values["share of full drive"]))
    how = f"The wheels of {name} ran at {rate.value:.2f} rad/s at {drove:.0f} % of full drive, with nothing to pull."
    how += stated.say_taken("motors", "stall_torque_Nm", "gear_ratio", "drive_efficiency", "drive_friction_Nm")
    return weigh(
        ("machine", name, "drive", "no_load_rev_min"),
        f"no-load rate of the motors of {name}",
        value,
        "rev/min",
        parts,
        how,
        span_s,
    )


def _mean(series: Numbers, use: BoolArray) -> float:
    """Mean of an input's series over some frames."""
    return float(np.mean(np.broadcast_to(np.asarray(series), use.shape)[use]))
