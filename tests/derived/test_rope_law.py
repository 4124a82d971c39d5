"""The rope's law and its halves (closed forms, derived here)."""

import numpy as np
import pytest

from matchvision.mechanics.rope import (
    RopeModel,
    damping_in_series_N_s_per_m,
    link_stiffness_N_per_m,
    rope_on_plus_x_m,
    rope_tension_N,
    stiffness_in_series_N_per_m,
)
from matchvision.records.sheet import HangTest

ROPE = RopeModel(1.0, 5000.0, 12.0)


def test_one_sided_spring() -> None:
    stretch_m = np.array([-0.01, 0.0, 0.002, 0.002, 0.002])
    rate_m_s = np.array([0.5, 0.5, 0.0, 0.1, -2.0])
    np.testing.assert_allclose(rope_tension_N(stretch_m, rate_m_s, ROPE), [0, 0, 10, 11.2, 0], atol=1e-6)


def test_springs_in_series() -> None:
    # Both carry the same tension, stretches add: 12 N on 480 N/m and 5000 N/m.
    total_m = 12 / 480 + 12 / 5000
    assert stiffness_in_series_N_per_m(480.0, 5000.0) == pytest.approx(12 / total_m)


def test_damping_behind_a_link() -> None:
    # Swings of two machines on a link: what is lost a swing follows the whole's complex stiffness.
    rate_rad_s = 20.0
    cord, link = 5000.0 + 1j * rate_rad_s * 12.0, 480.0
    whole = 1 / (1 / cord + 1 / link)
    assert damping_in_series_N_s_per_m(12.0, 5000.0, link) == pytest.approx(whole.imag / rate_rad_s, rel=0.01)


def test_link_stiffness_from_hang_test() -> None:
    mass_kg = np.array([0.0, 0.5, 1.0, 2.0])
    hang = HangTest(mass_kg, 0.06 + mass_kg * 9.80665 / 480.0, ("", "", "", ""))
    assert link_stiffness_N_per_m(hang, 9.80665) == pytest.approx(480.0)


def test_rope_halves() -> None:
    first, second = np.array([-0.4, 0.1, -0.9]), np.array([0.6, 1.1, -0.1])
    np.testing.assert_allclose(rope_on_plus_x_m(first, second, np.array([1.0, 1.0, 0.8])), [0.6, 1.0, 0.0])
    np.testing.assert_allclose(rope_on_plus_x_m(second, first, np.array([1.0, 1.0, 0.8])), [0.6, 1.0, 0.0])
