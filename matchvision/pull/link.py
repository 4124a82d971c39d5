"""Tension from a sprung link: its hang test inverted, length seen in the clip to force."""

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.pull.hanging import LinkLaw
from matchvision.records.motion import RopeMotion
from matchvision.records.pull import BudgetLine, PullSource

FloatArray = npt.NDArray[np.float64]

#: Gravity where the test was made lies between 9.780 (equator) and 9.832 m/s² (poles): half that span, rectangular
#: (GUM 4.3.7), over the standard value.
U_GRAVITY_RATIO: Final = 0.026 / math.sqrt(3) / STANDARD_GRAVITY_M_S2


def measure_link(law: LinkLaw, rope: RopeMotion) -> PullSource:
    """Tension from the link's length in each frame.

    A slack rope pulls with 0 N: its uncertainty is what the link could have shown without being noticed, that is its
    own reading. A preloaded link that cannot be told from a closed one says only that the tension lies between 0 and
    its opening force: half of it, rectangular.

    Notes
    -----
    Independent part: the length seen. Common part: the fitted law, the camera's scale, local gravity against the
    standard one of the hang test, hysteresis (half the gap between loading and unloading, rectangular).
    Checked by: tests/derived/test_link_coverage.py::test_intervals_hold_the_true_tension
    """
    tension_N = law.force_from(rope.link_length_m)
    compliance = law.compliance(tension_N)
    own_N = rope.u_link_length_m / compliance
    parts = {
        "hang test curve" if law.curved else "hang test line": law.law_uncertainty(tension_N),
        "camera scale over the link": rope.link_length_m * rope.u_link_common_ratio / compliance,
        "local gravity": np.abs(tension_N) * U_GRAVITY_RATIO,
        "link hysteresis": law.half_gap_m(tension_N) / math.sqrt(3) / compliance,
    }
    common_N = np.sqrt(np.sum([part**2 for part in parts.values()], axis=0))
    shut = (law.opening_N > 0) & (tension_N < law.opening_N + 2 * own_N)
    most_N = np.maximum(law.opening_N, tension_N)
    tension_N = np.where(shut, most_N / 2, tension_N)
    own_N = np.where(shut, np.hypot(own_N, most_N / math.sqrt(12)), own_N)
    slack = rope.slack == 1
    tension_N = np.where(slack, 0.0, tension_N)
    typical_N = float(np.median(own_N[np.isfinite(own_N)])) if np.isfinite(own_N).any() else math.nan
    own_N = np.where(slack & ~np.isfinite(own_N), typical_N, own_N)
    common_N = np.where(slack, 0.0, common_N)
    budget: tuple[BudgetLine, ...] = ()
    if np.isfinite(tension_N).any():
        peak = int(np.nanargmax(tension_N))
        budget = (
            BudgetLine("link length in the picture", float(own_N[peak]), "N", common=False),
            *(BudgetLine(name, float(part[peak]), "N", common=True) for name, part in parts.items() if part[peak] > 0),
        )
    return PullSource("link", tension_N, np.hypot(own_N, common_N), common_N, independent=True, budget=budget)
