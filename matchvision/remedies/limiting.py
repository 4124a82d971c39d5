"""What limits a machine's pull: in closed form for a steady pull, and over the run as it was."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.mechanics.grip import front_lift_pull_N, grip_limited_pull_N
from matchvision.mechanics.machine import MachineModel
from matchvision.mechanics.match import MachineCourse

LIMIT_WORDS: Final = ("motor", "grip", "weight", "rope", "held", "off")
#: Friction is fully used from this slip on [m/s]: the computed match's law reaches 99.5 % of it at a creep of 2 mm/s.
SLIDES_M_S: Final = 0.002
#: A rope that pulls less than this [N] hangs.
SLACK_N: Final = 0.2


def steady_pull_N(machine: MachineModel, gravity_m_s2: float) -> tuple[float, str]:  # noqa: N802 - SI capitals
    """Greatest steady pull [N] that a machine holds at the end of its plan, and what limits it.

    Notes
    -----
    The lesser of what motor and grip give. Motor: ``Σ (Ts s/(1 + sag s) − Tf)/r − c_rr W`` over both sides, s the share
    of the throttle and lost drive taken off. Grip: `mechanics.grip.grip_limited_pull_N`, with the base's holding added.
    "weight" where grip limits and the front has lifted before, so that more weight there would still help.
    Checked by: tests/remedies/test_limiting.py::test_limits_follow_the_closed_forms
    """
    weight_N = machine.mass_kg * gravity_m_s2
    grip = machine.grip_sliding * (machine.changes.grip_ratio if math.isfinite(machine.changes.grip_since_s) else 1.0)
    if machine.left is None or machine.right is None:
        return grip * weight_N + machine.holding_N, "grip"
    lost = (machine.changes.lost_left, machine.changes.lost_right)
    motor_N = -machine.rolling_resistance * weight_N
    for side, gone in zip((machine.left, machine.right), lost, strict=True):
        share = side.throttle[-1][1]
        stall = side.stall_torque_Nm * (1.0 - gone) * share / (1.0 + machine.sag_ratio * share)
        motor_N += max(0.0, stall - side.friction_Nm) / machine.wheel_radius_m
    motor_N = max(motor_N, machine.brake_N)
    x_m, height_m = machine.centre_of_mass_m[0], machine.hitch_m[2]
    base_m = machine.wheelbase_m
    grip_N = float(
        grip_limited_pull_N(grip, machine.mass_kg, gravity_m_s2, base_m, x_m, height_m, driven=machine.driven)
    )
    lift_N = (
        float(front_lift_pull_N(machine.mass_kg, gravity_m_s2, base_m, x_m, height_m)) if height_m > 0 else math.inf
    )
    held_N = grip_N + machine.holding_N
    if motor_N < held_N:
        return motor_N, "motor"
    return held_N, "weight" if machine.driven != "all" and lift_N < grip_N else "grip"


def limits_over_run(
    machines: Sequence[MachineModel],
    courses: Sequence[MachineCourse],
    tensions_N: Sequence[FloatArray],
    t_s: FloatArray,
    inside: npt.NDArray[np.bool_],
) -> tuple[tuple[str, float], ...]:
    """Share of the time in which each thing limits a machine's pull, mean over samples; what never does is left out.

    Parameters
    ----------
    machines, courses, tensions_N : one machine in each sampled match, its course and the rope's tension (k,) there.
    t_s, inside : the times (k,), and which of them count.

    Notes
    -----
    "rope": it hangs, so that there is nothing to pull. "grip": wheels or runners slide; "weight" where a contact point
    has lifted meanwhile and not all wheels are driven: those that still touch carry what it carried, so that driven
    wheels alone grip the same wherever the weight lies. "held": it stands by a base or a brake. "off": no drive is
    given. "motor": else.
    Checked by: tests/remedies/test_limiting.py::test_sliding_wheels_are_limited_by_grip
    Checked by: tests/remedies/test_limiting.py::test_lifted_wheels_matter_where_not_all_are_driven
    """
    total = dict.fromkeys(LIMIT_WORDS, 0.0)
    for machine, course, tension_N in zip(machines, courses, tensions_N, strict=True):
        words = classify(machine, course, tension_N, t_s)[inside]
        for word in LIMIT_WORDS:
            total[word] += float(np.mean(words == word)) / len(machines)
    return tuple((word, share) for word, share in total.items() if share > 0)


def classify(
    machine: MachineModel, course: MachineCourse, tension_N: FloatArray, t_s: FloatArray
) -> npt.NDArray[np.str_]:
    """What limits the pull at each time (k,)."""
    ground_m_s = np.hypot(course.velocity_x_m_s, course.velocity_y_m_s)
    stands = ground_m_s < SLIDES_M_S
    holds = machine.holding_N > 0 or machine.brake_N > 0
    # A draw's load across the diagonal may lift a wheel for long; where all are driven, the others grip for it.
    lacks_weight = (course.least_load_N <= 0) & (machine.driven != "all")
    if machine.left is None or machine.right is None:
        words = np.where(stands, "held" if holds else "off", "grip")
    else:
        share = np.zeros(len(t_s))
        for side in (machine.left, machine.right):
            times, shares = np.array(side.throttle, dtype=np.float64).T
            given = np.interp(t_s - machine.start_delay_s, times, shares)
            share = np.maximum(share, np.where(t_s >= machine.start_delay_s, np.abs(given), 0.0))
        words = np.where(share > 0, "motor", "off")
        words = np.where(stands & holds, "held", words)
        slides = np.abs(course.slip_speed_m_s) >= SLIDES_M_S
        words = np.where(slides, np.where(lacks_weight, "weight", "grip"), words)
    return np.where(tension_N < SLACK_N, "rope", words)
