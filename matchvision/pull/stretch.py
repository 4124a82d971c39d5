"""Tension from the cord's own stretch: almost always swamped by the uncertainty of its length."""

import numpy as np

from matchvision.records.motion import RopeMotion
from matchvision.records.pull import BudgetLine, PullSource
from matchvision.records.sheet import RopeSheet


def measure_stretch(cord: RopeSheet, rope: RopeMotion) -> PullSource | None:
    """Tension from how much longer the taut rope lies than the sheet says; None where u swamps it throughout.

    Frames in which the uncertainty exceeds the tension are left empty. A rope with a sprung link is none of this
    source's business: the link gives way a hundred times as much as the cord.

    Notes
    -----
    ``T = k (length as it lies − length of the slack rope)``. The length's error is the camera's, hence common.
    Checked by: tests/pull/test_stretch.py::test_small_stretch_is_left_out
    """
    if cord.stiffness_N_per_m is None or cord.link is not None:
        return None
    stiffness, u_stiffness = cord.stiffness_N_per_m.value, cord.stiffness_N_per_m.u
    tension_N = stiffness * (rope.total_m - cord.length_m)
    u_length_N = stiffness * rope.u_total_m
    u_stiffness_N = np.abs(tension_N) * u_stiffness / stiffness
    u_N = np.hypot(u_length_N, u_stiffness_N)
    slack = rope.slack == 1
    told = ~slack & (u_N < tension_N)
    if not told.any():
        return None
    tension_N, u_N = np.where(told, tension_N, np.nan), np.where(told, u_N, np.nan)
    peak = int(np.nanargmax(tension_N))
    budget = (
        BudgetLine("length of the rope as it lies", float(u_length_N[peak]), "N", common=True),
        BudgetLine("stiffness of the cord", float(u_stiffness_N[peak]), "N", common=True),
    )
    return PullSource("stretch", tension_N, u_N, u_N.copy(), independent=True, budget=budget)
