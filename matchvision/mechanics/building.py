"""The match model from the sheets' numbers, as stated or as drawn for one sample."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2, Driven
from matchvision.mechanics.machine import (
    ASSUMED_WHEEL_INERTIA_KG_M2,
    FULL_DRIVE,
    Arm,
    Box,
    MachineModel,
    MatchModel,
    Pose,
    SideDrive,
)
from matchvision.mechanics.motor import wheel_free_rate_rad_s, wheel_stall_torque_Nm
from matchvision.mechanics.rope import (
    ASSUMED_DAMPING_N_S_PER_M,
    ASSUMED_STIFFNESS_N_PER_M,
    RopeModel,
    damping_in_series_N_s_per_m,
    link_stiffness_N_per_m,
    stiffness_in_series_N_per_m,
)
from matchvision.mechanics.stated import OPTIONAL, Findings, drive_facts, is_load, side_blocks, states_any_motor
from matchvision.records.profile import is_level
from matchvision.records.sheet import Drive, Machine, Run, StartPose

#: A usual machine: length, width, height [m].
ASSUMED_SIZE_M = (0.28, 0.23, 0.12)


def build_match(
    run: Run, names: tuple[str, ...], starts: Mapping[str, StartPose], values: Mapping[str, float], findings: Findings
) -> MatchModel:
    """The match model with the sheets' numbers taken from ``values`` (by key); assumptions go to ``findings``."""
    machines = tuple(_build_machine(run, name, values, findings) for name in names)
    poses = tuple(Pose(*starts[name].at_m, float(np.deg2rad(starts[name].heading_deg))) for name in names)
    rope = build_rope(run, names, values, findings) if len(names) == 2 else None
    profile = tuple(sorted(run.sheet.table.profile_m))
    return MatchModel(machines, poses, rope, profile_m=() if is_level(profile) else profile)


def build_rope(run: Run, names: tuple[str, ...], values: Mapping[str, float], findings: Findings) -> RopeModel | None:
    """The sheet's rope between the machines ``names``; None where there is none."""
    rope = run.sheet.rope
    if rope is None:
        return None
    stiffness = values.get("rope.stiffness_N_per_m")
    if stiffness is None:
        stiffness = ASSUMED_STIFFNESS_N_PER_M
        findings.assumed.append(f"rope: {stiffness:.0f} N/m, as [rope] stiffness_N_per_m is not stated")
    damping = ASSUMED_DAMPING_N_S_PER_M
    if run.hang_test is not None:
        # The cord is what damps; a spring swings on, and beside a soft one the cord hardly moves.
        link = link_stiffness_N_per_m(run.hang_test, STANDARD_GRAVITY_M_S2)
        damping = damping_in_series_N_s_per_m(damping, stiffness, link)
        stiffness = stiffness_in_series_N_per_m(stiffness, link)
    keys = [drive_facts(run, name, Findings())[0] for name in names]
    release_s = min(values.get(f"{key}.release_s", float("inf")) for key in keys)
    return RopeModel(rope.length_m, stiffness, damping, release_s, rope.bead_radius_m)


def _build_machine(run: Run, name: str, values: Mapping[str, float], findings: Findings) -> MachineModel:
    machine = run.sheet.machine[name]
    key, facts = drive_facts(run, name, Findings())
    size = machine.size_m or ASSUMED_SIZE_M
    if machine.size_m is None:
        findings.assumed.append(f"{name}: {ASSUMED_SIZE_M} m large, as [machine.{name}] size_m is not stated")
    centre = machine.middle_of_mass_m or (0.0, 0.0, size[2] / 2)
    if machine.middle_of_mass_m is None:
        text = f"{name}: centre of mass in the middle, {centre[2]:.3f} m high, as [machine.{name}] centre_of_mass_m is"
        findings.assumed.append(f"{text} not stated")
    static, sliding = _grips(name, key, values)
    hitch = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)
    mass_kg = values[f"machine.{name}.mass_kg"]
    holding_N = values.get(f"{key}.holding_N", values.get(f"machine.{name}.anchor.holding_N", 0.0))
    base = MachineModel(
        name,
        mass_kg,
        size,
        centre,
        hitch,
        static,
        sliding,
        wheelbase_m=size[0],
        track_m=size[1],
        holding_N=holding_N,
        holding_plan=facts.holding_over_time,
        holding_by_angle=tuple((float(np.deg2rad(angle)), share) for angle, share in facts.holding_by_angle),
        winding=facts.winding,
        start_delay_s=values.get(f"{key}.start_delay_s", 0.0),
        arm=_build_arm(machine, key, values),
        bodies=tuple(Box(body.mass_kg, body.size_m, body.at_m) for body in machine.body),
    )
    if is_load(machine, facts) or not states_any_motor(facts):
        return base
    left, right = _build_sides(machine, key, facts, values, name, findings)
    radii = [wheel.radius_m for wheel in machine.wheel if wheel.driven] or [wheel.radius_m for wheel in machine.wheel]
    return replace(
        base,
        wheelbase_m=machine.wheelbase_m or size[0],
        track_m=2 * float(np.mean([abs(wheel.face_m[1]) for wheel in machine.wheel])),
        wheel_radius_m=float(np.mean(radii)),
        driven=_driven_axle(machine, name, findings),
        left=left,
        right=right,
        rolling_resistance=values.get(f"{key}.rolling_resistance", 0.0),
        brake_N=values.get(f"{key}.brake_N", values.get(f"machine.{name}.brake.brake_N", 0.0)),
        on_voltage=facts.throttle_acts_on == "voltage",
        sag_ratio=values.get(f"{key}.supply_sag_ratio", 0.0),
    )


def _build_arm(machine: Machine, key: str, values: Mapping[str, float]) -> Arm | None:
    """The arm, going out when the machine starts and the way that its hitch sits."""
    lasts_s = values.get(f"{key}.reach_s", 0.0)
    if machine.reach is None or lasts_s <= 0:
        return None
    hitch = machine.hitch
    return Arm(
        machine.reach.stroke_m,
        machine.reach.mass_kg,
        lasts_s,
        values.get(f"{key}.start_delay_s", 0.0),
        forwards=hitch is not None and hitch.at_m[0] > 0,
        carries_hitch=hitch is not None and hitch.on == "reach",
    )


def _grips(name: str, key: str, values: Mapping[str, float]) -> tuple[float, float]:
    """Static and sliding coefficient; where only one is stated it serves for both."""
    sliding = values.get(f"{key}.grip_sliding", values.get(f"machine.{name}.load.grip_sliding"))
    static = values.get(f"{key}.grip_static", sliding)
    if sliding is None:
        sliding = static
    if static is None or sliding is None:
        return 0.0, 0.0
    return static, sliding


def _build_sides(
    machine: Machine, key: str, facts: Drive, values: Mapping[str, float], name: str, findings: Findings
) -> tuple[SideDrive, SideDrive]:
    """Drives of the left and the right wheels; what a side does not state of its own is half the machine's."""
    wheels = machine.driven_wheels or 4
    out = []
    for side_key, own, counts in side_blocks(key, facts):

        def number(fact: str, default: float, side_key: str = side_key) -> float:
            return values.get(f"{side_key}.{fact}", values.get(f"{key}.{fact}", default))

        motors = own.motors if own is not None and counts and own.motors is not None else (facts.motors or 0) / 2
        gear = number("gear_ratio", 1.0)
        torque = wheel_stall_torque_Nm(motors, number("stall_torque_Nm", 0.0), gear, number("drive_efficiency", 1.0))
        friction = values.get(f"{side_key}.drive_friction_Nm")
        if friction is None:
            friction = values.get(f"{key}.drive_friction_Nm", OPTIONAL["drive_friction_Nm"]) / 2
        inertia = number("wheel_inertia_kg_m2", ASSUMED_WHEEL_INERTIA_KG_M2)
        if inertia == ASSUMED_WHEEL_INERTIA_KG_M2 and own is None:
            text = f"{name}: {inertia:g} kg m² for each driven wheel with its gear"
            findings.assumed.append(f"{text}, as [{key}] wheel_inertia_kg_m2 is not stated")
        throttle = own.throttle if own is not None and own.throttle else facts.throttle
        free = wheel_free_rate_rad_s(number("no_load_rev_min", 0.0), gear)
        out.append(
            SideDrive(float(torque), float(free), friction, max(inertia, 1e-7) * wheels / 2, throttle or FULL_DRIVE)
        )
    return out[0], out[1]


def _driven_axle(machine: Machine, name: str, findings: Findings) -> Driven:
    if machine.driven_wheels is None or machine.driven_wheels >= 4:
        return "all"
    for wheel in machine.wheel:
        if wheel.face_m[0] != 0:
            return "front" if (wheel.face_m[0] > 0) == wheel.driven else "rear"
    findings.assumed.append(f"{name}: the rear wheels are driven, as no [[machine.{name}.wheel]] says which")
    return "rear"
