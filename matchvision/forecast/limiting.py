"""What limits each machine's pull at each instant of the predicted run: its grip, its drive, or what holds it."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.mechanics.layout import CREEP_M_S
from matchvision.mechanics.machine import MachineModel
from matchvision.mechanics.match import MachineCourse
from matchvision.records.forecast import LIMITS

#: Speed [m/s] from which friction is fully used: the law of the computed match reaches 99.5 % of it there.
SLIDES_M_S: Final = 10 * CREEP_M_S


def classify(machine: MachineModel, course: MachineCourse, t_s: FloatArray) -> npt.NDArray[np.int64]:
    """Index into `LIMITS` for each time: what a stronger pull of this machine would need more of.

    Parameters
    ----------
    machine : the machine as computed with.
    course : its course at ``t_s`` (k,) [s].

    Notes
    -----
    ``grip``: wheels or runners slide, so that friction is fully used. ``held``: it stands, and a base or a brake helps
    to hold it. ``off``: no drive is given (before the start, or the plan's pauses). ``torque``: the wheels grip, and
    the drive gives what it can at their speed.
    Checked by: tests/forecast/test_limiting.py::test_limits_follow_the_closed_forms
    """
    grip, torque, held, off = (LIMITS.index(word) for word in ("grip", "torque", "held", "off"))
    ground_m_s = np.hypot(course.velocity_x_m_s, course.velocity_y_m_s)
    stands = ground_m_s < SLIDES_M_S
    holds = machine.holding_N > 0 or machine.brake_N > 0
    if machine.left is None or machine.right is None:
        return np.where(stands, held if holds else off, grip).astype(np.int64)
    share = np.zeros(len(t_s))
    for side in (machine.left, machine.right):
        times, shares = np.array(side.throttle, dtype=np.float64).T
        own = np.interp(t_s - machine.start_delay_s, times, shares)
        share = np.maximum(share, np.where(t_s >= machine.start_delay_s, np.abs(own), 0.0))
    out = np.where(share > 0, torque, off)
    out = np.where(stands & holds, held, out)
    return np.where(np.abs(course.slip_speed_m_s) >= SLIDES_M_S, grip, out).astype(np.int64)


def share_limits(
    machines: Sequence[MachineModel], courses: Sequence[MachineCourse], t_s: FloatArray
) -> Mapping[str, FloatArray]:
    """Share of the samples that each limit holds in, by limit, (k,) arrays that add up to 1."""
    classes = np.stack([classify(m, c, t_s) for m, c in zip(machines, courses, strict=True)])
    return {word: (classes == k).mean(axis=0) for k, word in enumerate(LIMITS)}
