"""The motor line: greatest power, and what the throttle and a sagging supply do to it (closed forms, derived here)."""

import numpy as np
import pytest

from matchvision.mechanics.motor import (
    drive_torque_Nm,
    throttle_share,
    wheel_free_rate_rad_s,
    wheel_stall_torque_Nm,
)
from matchvision.mechanics.traction import gross_traction_N

STALL_NM, FREE_RAD_S = 1.2, 5.0


def test_greatest_power_lies_at_half_the_free_rate() -> None:
    rate_rad_s = np.linspace(0.0, FREE_RAD_S, 100_001)
    power_W = rate_rad_s * drive_torque_Nm(rate_rad_s, 1.0, STALL_NM, FREE_RAD_S)
    assert rate_rad_s[power_W.argmax()] == pytest.approx(FREE_RAD_S / 2, rel=1e-4)
    assert power_W.max() == pytest.approx(STALL_NM * FREE_RAD_S / 4)


@pytest.mark.parametrize("on_voltage", [False, True])
def test_full_drive_is_one_line_under_both_laws(on_voltage: bool) -> None:
    assert drive_torque_Nm(2.0, 1.0, STALL_NM, FREE_RAD_S, on_voltage) == pytest.approx(STALL_NM * 0.6)


def test_half_drive_moves_the_free_rate_under_the_voltage_law_only() -> None:
    assert drive_torque_Nm(FREE_RAD_S / 2, 0.5, STALL_NM, FREE_RAD_S, True) == pytest.approx(0.0)
    assert drive_torque_Nm(FREE_RAD_S / 2, 0.5, STALL_NM, FREE_RAD_S, False) == pytest.approx(STALL_NM / 4)


@pytest.mark.parametrize("on_voltage", [False, True])
def test_sag_obeys_its_own_definition(on_voltage: bool) -> None:
    share, sag, rate_rad_s = 0.8, 0.15, 1.5
    torque_Nm = drive_torque_Nm(rate_rad_s, share, STALL_NM, FREE_RAD_S, on_voltage, sag)
    volts = 1 - sag * torque_Nm / STALL_NM
    wanted_Nm = STALL_NM * (share * volts - rate_rad_s / FREE_RAD_S * (1.0 if on_voltage else share))
    assert torque_Nm == pytest.approx(wanted_Nm)


def test_motor_to_pull_chain() -> None:
    """Torque × gear × efficiency over radius, with three gear stages of 0.94 each, by hand."""
    pull_N = gross_traction_N(wheel_stall_torque_Nm(1, 0.010, 100, 0.94**3), 0.030)
    assert pull_N == pytest.approx(27.686, abs=5e-4)


def test_two_motors_on_one_train_double_the_stall_and_keep_the_free_rate() -> None:
    assert wheel_stall_torque_Nm(2, 0.0033, 283, 0.72) == pytest.approx(2 * 0.0033 * 283 * 0.72)
    assert wheel_free_rate_rad_s(12000.0, 283.0) == pytest.approx(12000 * 2 * np.pi / 60 / 283)


def test_throttle_table() -> None:
    table = [(0.0, 0.0), (0.5, 1.0)]
    np.testing.assert_allclose(throttle_share(np.array([-1.0, 0.25, 0.5, 9.0]), table), [0, 0.5, 1, 1])
    np.testing.assert_allclose(throttle_share(np.array([0.9, 1.25]), table, 1.0), [0, 0.5])
    np.testing.assert_allclose(throttle_share(np.array([-0.1, 0.0]), []), [0, 1])
