"""Weight transfer and grip-limited pull of a machine that pulls at a raised hitch.

One case by hand, to the digits given, from the balance of moments as R. H. Macmillan writes it, "The Mechanics of
Tractor-Implement Performance", University of Melbourne 2002, chapter 6 (open access): mass 3.000 kg, g 9.80665 m/s2,
wheelbase 0.20 m, front axle to centre of mass 0.12 m, hitch height 0.05 m, pull 15 N. That loads go so in an engine
that knows nothing of this balance is held in ``tests/published/test_mujoco_matches.py``.
"""

import numpy as np
import pytest

from matchvision.mechanics.grip import axle_loads_N, driven_load_N, front_lift_pull_N, grip_limited_pull_N
from matchvision.mechanics.traction import net_traction_ratio

CASE = (3.0, 9.80665, 0.20, (-0.02, 0.06), (-0.145, 0.05))


def test_load_on_the_rear_axle() -> None:
    assert axle_loads_N(*CASE, 0.0)[1] == pytest.approx(17.652, abs=5e-4)
    rear_N = driven_load_N(*CASE, 15.0, driven="rear")
    assert rear_N == pytest.approx(21.402, abs=5e-4)
    assert rear_N - axle_loads_N(*CASE, 0.0)[1] == pytest.approx(3.750, abs=5e-4)
    assert driven_load_N(*CASE, 15.0, driven="front") + rear_N == pytest.approx(3.0 * 9.80665)


def test_net_traction_ratio() -> None:
    assert net_traction_ratio(15.0, driven_load_N(*CASE, 15.0, driven="rear")) == pytest.approx(0.7009, abs=5e-5)


def test_grip_limited_pull_of_rear_drive() -> None:
    pull_N = grip_limited_pull_N(np.array([0.5, 0.7, 1.0]), 3.0, 9.80665, 0.20, -0.02, 0.05, driven="rear")
    np.testing.assert_allclose(pull_N, [10.087, 14.977, 23.536], atol=5e-4)


def test_front_lifts() -> None:
    lift_N = front_lift_pull_N(3.0, 9.80665, 0.20, -0.02, 0.05)
    assert lift_N == pytest.approx(47.07, abs=5e-3)
    assert driven_load_N(*CASE, lift_N, driven="front") == pytest.approx(0.0, abs=1e-9)
