"""An operator whose plan nobody knows: shares about the guess, from nothing to all, and the plan itself at zero."""

import numpy as np
import pytest
from scipy.stats import norm

from matchvision.mechanics.machine import MachineModel, MatchModel, Pose, SideDrive
from matchvision.verdict.causes.refits.operating import LEAST_SHARE, SPREAD, moments_until, operate

PLAN = ((0.0, 0.0), (0.5, 0.5), (9.0, 0.5))


def given(z: float) -> np.ndarray:
    side = SideDrive(0.6, 5.0, throttle=PLAN)
    machine = MachineModel(
        "heron", 2.5, (0.28, 0.234, 0.12), (0.0, 0.0, 0.06), (-0.145, 0.0, 0.05), 0.8, 0.8, wheelbase_m=0.17,
        track_m=0.21, wheel_radius_m=0.045, left=side, right=side,
    )  # fmt: skip
    times_s = moments_until(6.0)
    match = operate(MatchModel((machine,), (Pose(0.0, 0.0, 0.0),)), 0, times_s, np.full(len(times_s), z))
    assert match.machines[0].left is not None
    assert match.machines[0].left == match.machines[0].right
    return np.array(match.machines[0].left.throttle)


def test_shares_lie_about_the_guess_as_stated() -> None:
    """At a guess of one half, one standard deviation is one of a normal number's probability."""
    for z in (-1.0, 0.0, 2.0):
        told = given(z)
        late = told[told[:, 0] >= 0.5, 1]
        assert late == pytest.approx(np.full(len(late), norm.cdf(SPREAD * z)))


def test_the_guess_itself_stays_but_for_its_ends() -> None:
    told = given(0.0)
    assert told[:, 1] == pytest.approx(np.clip(np.interp(told[:, 0], *np.array(PLAN).T), LEAST_SHARE, 1.0))
    assert np.all(np.diff(told[:, 0]) > 0)
    assert moments_until(6.0)[0] == 0.0
    assert moments_until(6.0)[-1] == pytest.approx(6.0)
