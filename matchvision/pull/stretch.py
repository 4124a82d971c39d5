"""Tension from the cord's own stretch: almost always swamped by the uncertainty of its length."""

from collections.abc import Mapping

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.pull.assembling import Numbers, assemble_source
from matchvision.records.motion import RopeMotion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import RopeSheet
from matchvision.uncertainty import Input


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
    stiffness = cord.stiffness_N_per_m
    stretch_m = rope.total_m - cord.length_m
    u_N = np.hypot(stiffness.value * rope.u_total_m, stretch_m * stiffness.u)
    told = (rope.slack != 1) & (u_N < stiffness.value * stretch_m)
    if not told.any():
        return None
    inputs = [
        Input("length of the rope as it lies", np.where(told, rope.total_m, np.nan), rope.u_total_m, "m"),
        Input("stiffness of the cord", stiffness.value, stiffness.u, "N/m"),
    ]

    def tension(at: Mapping[str, Numbers]) -> FloatArray:
        longer_m = at["length of the rope as it lies"] - cord.length_m
        return np.asarray(at["stiffness of the cord"] * longer_m, dtype=np.float64)

    nowhere = np.zeros(len(told), dtype=np.bool_)
    return assemble_source("stretch", tension, inputs, {}, nowhere, independent=True)
