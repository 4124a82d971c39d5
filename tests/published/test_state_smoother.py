"""The state smoother on the river Nile's yearly flow.

Source: J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), chapter 2: local level
model, flow at Aswan 1871 to 1970 [1e8 m³].
Checks: `run_filter`, `smooth_series` with one state, given and estimated noise levels.
Values as printed: σ_ε² 15099, σ_η² 1469.1. With them: steady one-step variance 5501.26, gain 0.26705, smoothed level at
t = 50 and 100: 834.763, 798.370.
Tolerance: half a unit of the last digit for what follows from given levels; 1 % of σ_ε² and 3 % of σ_η² for the
estimates, because the likelihood is flat in σ_η² (its own standard error is over 50 %) and our search stops at 5 % of a
log ratio.
How obtained: levels read, the rest recomputed with another program from the same data.
"""

import numpy as np
import pytest

from matchvision.motion.filtering import run_filter, step_matrices
from matchvision.motion.smoothing import smooth_series

FLOW = np.array(
    [
        1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
        1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
        831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
        781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
        744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
    ],
    dtype=np.float64,
)  # fmt: skip
YEARS = np.arange(100.0)


def test_nile_level() -> None:
    smoothed = smooth_series(YEARS, FLOW, np.full(100, np.sqrt(15099.0)), order=1, drive=1469.1, longest_gap_s=2.0)
    assert smoothed.value[49] == pytest.approx(834.763, abs=0.0005)
    assert smoothed.value[99] == pytest.approx(798.370, abs=0.0005)


def test_nile_steady_variance() -> None:
    transition, unit = step_matrices(np.ones(99), 1)
    _, variance, *_ = run_filter(FLOW, np.full(100, 15099.0), np.full(99, 1469.1), transition, unit, np.array([1.0e7]))
    assert variance[-1, 0, 0] == pytest.approx(5501.26, abs=0.005)
    assert variance[-1, 0, 0] / (variance[-1, 0, 0] + 15099.0) == pytest.approx(0.26705, abs=0.000005)


def test_nile_levels_are_estimated() -> None:
    stated = 100.0
    smoothed = smooth_series(YEARS, FLOW, np.full(100, stated), order=1, adaptive=False, longest_gap_s=2.0)
    assert (smoothed.noise_factor * stated) ** 2 == pytest.approx(15099.0, rel=0.01)
    assert smoothed.drive[0] == pytest.approx(1469.1, rel=0.03)
