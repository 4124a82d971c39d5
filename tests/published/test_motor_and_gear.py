"""From motor torque to pull at the wheel.

Source: textbook chain torque x gear x efficiency / radius, efficiency as three gear stages of 0.94 each; computed from
the definition; from memory which books print it. Value 0.010 N m x 100 x 0.94^3 / 0.030 m = 27.686 N.
Checks: `wheel_stall_torque_Nm`, `gross_traction_N`.
Tolerance: half a unit of the last digit given.
"""

import pytest

from matchvision.mechanics.motor import wheel_stall_torque_Nm
from matchvision.mechanics.traction import gross_traction_N


def test_motor_to_pull_chain() -> None:
    pull_N = gross_traction_N(wheel_stall_torque_Nm(1, 0.010, 100, 0.94**3), 0.030)
    assert pull_N == pytest.approx(27.686, abs=5e-4)
