"""Tension from a sprung link: its hang test inverted, length seen in the clip to force."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.pull.assembling import Numbers, assemble_source
from matchvision.pull.hanging import LinkLaw
from matchvision.pull.steadying import steady_series
from matchvision.records.motion import RopeMotion
from matchvision.records.pull import PullSource
from matchvision.uncertainty import Input

#: Gravity where the test was made lies between 9.780 (equator) and 9.832 m/s² (poles): half that span, rectangular
#: (GUM 4.3.7), over the standard value.
U_GRAVITY_RATIO: Final = 0.026 / math.sqrt(3) / STANDARD_GRAVITY_M_S2
#: Gravity at the place of the run, shared by every source that weighs something.
LOCAL_GRAVITY: Final = Input(
    "local gravity", STANDARD_GRAVITY_M_S2, STANDARD_GRAVITY_M_S2 * U_GRAVITY_RATIO, "m/s²", rectangular=True
)


def measure_link(law: LinkLaw, rope: RopeMotion, real_s: FloatArray) -> PullSource:
    """Tension from the link's length in each frame, steadied over the frames beside it (``real_s``, (n,) [s]).

    A slack rope pulls with 0 N: its uncertainty is what the link could have shown without being noticed, that is its
    own reading. A preloaded link that cannot be told from a closed one says only that the tension lies between 0 and
    its opening force: half of it, rectangular.

    Notes
    -----
    New in every frame: the length as it scatters from frame to frame. Common: what is left of the length's uncertainty
    then (how the markers' shade and edges pull their centres), the fitted law, the camera's scale, local gravity
    against the standard one of the hang test, hysteresis (half the gap between loading and unloading, rectangular),
    and whether the law bends on beyond the heaviest mass.
    Checked by: tests/derived/test_link_coverage.py::test_intervals_hold_the_true_tension
    """
    scatter_m, lasting_m = split_scatter(rope.link_length_m, rope.u_link_length_m)
    length_m, scatter_m = steady_series(rope.link_length_m, scatter_m, real_s)
    seen_N = law.force_from(length_m)
    slack = rope.slack == 1
    own_N = scatter_m / law.compliance(seen_N)
    shut = (law.opening_N > 0) & (seen_N < law.opening_N + 2 * np.hypot(own_N, law.u_opening_N)) & ~slack
    law_name = "bend and stiffness by the hang test" if law.curved else "line through the hang test"
    inputs = [
        Input("link length in the picture, frame by frame", length_m, scatter_m, "m", common=False),
        Input("link length in the picture, lasting", 0.0, lasting_m, "m"),
        Input("camera scale over the link", 1.0, rope.u_link_common_ratio, "1"),
        Input(law_name, 0.0, law.law_uncertainty(length_m), "m", degrees=law.degrees),
        Input("law beyond the hang test", 0.0, law.unsure_beyond(length_m), "N"),
        Input("link hysteresis", 0.0, law.half_gap_m(seen_N) / math.sqrt(3), "m", rectangular=True),
        Input(
            "pull of a closed link",
            np.where(shut, np.maximum(law.opening_N, seen_N) / 2, 0.0),
            np.where(shut, np.hypot(np.maximum(law.opening_N, seen_N), law.u_opening_N) / math.sqrt(12), 0.0),
            "N",
            common=False,
            rectangular=True,
        ),
        LOCAL_GRAVITY,
    ]

    def tension(at: Mapping[str, Numbers]) -> FloatArray:
        read_m = np.asarray(
            (at["link length in the picture, frame by frame"] + at["link length in the picture, lasting"])
            * at["camera scale over the link"]
            + at[law_name]
            + at["link hysteresis"]
        )
        # A closed link's reading says nothing about the pull, only where it began to open.
        opened_N = law.force_from(read_m) + at["law beyond the hang test"]
        pull_N = np.where(at["shut"], at["pull of a closed link"], opened_N)
        return np.asarray(pull_N * at["local gravity"] / STANDARD_GRAVITY_M_S2, dtype=np.float64)

    exact = {"shut": shut.astype(np.float64)}
    return assemble_source("link", tension, inputs, exact, slack, independent=True)


def split_scatter(values: FloatArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Parts (n,) of a series' standard uncertainty: its scatter from frame to frame, and what lasts beyond that.

    The scatter is that of the second differences, which a smooth course hardly enters, over √6 (white noise); never
    more than ``u``. With fewer than eight of them all of ``u`` counts as scatter.
    """
    bent = values[2:] - 2 * values[1:-1] + values[:-2]
    bent = bent[np.isfinite(bent)]
    if len(bent) < 8:
        return u, np.zeros_like(u)
    # 1.4826: from the median of |normal| to its standard deviation; a jerk in the rope moves it little.
    scatter = np.minimum(u, 1.4826 * float(np.median(np.abs(bent))) / math.sqrt(6))
    return np.asarray(scatter, dtype=np.float64), np.asarray(np.sqrt(u**2 - scatter**2), dtype=np.float64)
