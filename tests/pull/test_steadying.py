"""Readings made steadier, and jerks left alone."""

import numpy as np
import pytest

from matchvision.pull.steadying import average_accelerations, fit_parabolas, steady_series
from tests.made_motion import make_machine, make_motion, seconds

T_S = seconds(3.0)


def test_seven_points_weigh_as_savitzky_and_golay_printed() -> None:
    """A. Savitzky, M. J. E. Golay, Anal. Chem. 36 (1964) 1627: (−2, 3, 6, 7, 6, 3, −2)/21."""
    weights = [
        fit_parabolas(np.where(np.arange(15) == k, 1.0, 0.0), np.ones(15), np.arange(15.0), 3)[0][7]
        for k in range(4, 11)
    ]
    assert np.array(weights) * 21 == pytest.approx([-2, 3, 6, 7, 6, 3, -2])


def test_noise_falls_as_stated_and_a_smooth_course_stays() -> None:
    generator = np.random.default_rng(3)
    true = 10 + 5 * np.sin(2.0 * T_S)
    ratios = []
    for _ in range(60):
        steady, u = steady_series(true + 0.3 * generator.standard_normal(len(T_S)), np.full(len(T_S), 0.3), T_S)
        ratios.append(((steady - true) / u)[90])
        assert np.median(u) < 0.3 * 0.55
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(1.0, abs=0.3)


def test_snap_keeps_its_height_and_its_date() -> None:
    generator = np.random.default_rng(4)
    true = np.where(T_S > 1.0, 20.0, 0.0) + np.where(np.abs(T_S - 1.02) < 0.02, 15.0, 0.0)
    steady, _ = steady_series(true + 0.2 * generator.standard_normal(len(T_S)), np.full(len(T_S), 0.2), T_S)
    near = np.abs(T_S - 1.0) < 0.1
    assert np.abs(steady - true)[near].max() < 1.0


def test_gaps_stay_gaps() -> None:
    values = np.where(np.abs(T_S - 1.5) < 0.1, np.nan, 4.0)
    steady, _ = steady_series(values, np.full(len(T_S), 0.1), T_S)
    assert np.array_equal(np.isnan(steady), np.isnan(values))
    assert steady[~np.isnan(steady)] == pytest.approx(4.0)


def test_calm_acceleration_is_the_change_of_speed_over_a_tenth_of_a_second() -> None:
    """Two speeds 0.1 s apart, 2 mm/s each: √2 · 0.002 / 0.1 m/s². A jerk keeps the smoother's own value and u."""
    speed = 0.3 * T_S + np.where(T_S > 1.5, 0.1, 0.0)
    accel = np.where(np.abs(T_S - 1.5) < 0.02, 3.0, 0.35)
    machine = make_machine("heron", len(T_S), speed_m_s=speed, accel_m_s2=accel, u_accel_m_s2=0.15)
    (averaged,) = average_accelerations(make_motion(T_S, machines=[machine])).machines.values()
    calm = np.abs(T_S - 1.5) > 0.1
    assert averaged.accel_m_s2[calm][3:-3] == pytest.approx(0.3)
    assert averaged.u_accel_m_s2[calm][3:-3] == pytest.approx(np.sqrt(2) * 0.002 / 0.1)
    jerk = np.abs(T_S - 1.5) < 0.02
    assert averaged.accel_m_s2[jerk] == pytest.approx(3.0)
    assert averaged.u_accel_m_s2[jerk] == pytest.approx(0.15)
