"""What lasts in a wheel's way, against the regression that it is, and on wheels that creep, lag and stand aside."""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.motion.filtering import step_matrices
from matchvision.motion.smoothing import RELAX_S, SlowNoise, smooth_series
from matchvision.motion.together import Lasting, Together, smooth_together
from matchvision.motion.wheels import lasting_errors

FloatArray = npt.NDArray[np.float64]

N, STEP_S, U_TRAVEL_M, U_WAY_M = 150, 1 / 60, 1e-6, 0.0003
NONE = SlowNoise(0.0, 1.0)
T_S: FloatArray = np.asarray(np.arange(N) * STEP_S, dtype=np.float64)
SPEED_M_S = 0.1 * (1 - np.cos(4.0 * T_S))
TRAVEL_M = 0.1 * (T_S - np.sin(4.0 * T_S) / 4.0)


def smoothed(way_m: FloatArray, lasting: Lasting | None, drive: float | None) -> Together:
    """A machine whose travel is as good as known, and its wheel's way."""
    u_travel, u_way = np.full(N, U_TRAVEL_M), np.full(N, U_WAY_M)
    along = smooth_series(T_S, TRAVEL_M, u_travel, drive=1.0)
    ahead = smooth_series(T_S, way_m - TRAVEL_M, u_way, drive=drive, least_noise_factor=1.0)
    ever = np.ones(N, dtype=np.bool_)
    return smooth_together(T_S, (TRAVEL_M, u_travel), (way_m, u_way), along, ahead, (NONE, NONE), ever, lasting)


def creep_and_delay() -> Lasting:
    return lasting_errors(
        TRAVEL_M, SPEED_M_S, SPEED_M_S, np.zeros((N, 2)), np.diag([1e-12, 1e-12]), STEP_S / np.sqrt(12)
    )


def test_what_lasts_is_as_sure_as_a_fitted_line_says() -> None:
    """Without a drive the lead is a regression on its start, the creep and the delay: Cov = (XᵀX/u² + prior)⁻¹."""
    generator = np.random.default_rng(5)
    way_m = TRAVEL_M + U_WAY_M * generator.standard_normal(N)
    found = smoothed(way_m, creep_and_delay(), 1e-16)
    one, _ = step_matrices(np.ones(1), 3, RELAX_S / STEP_S)
    steps = [np.linalg.matrix_power(one[0], k) for k in range(N)]
    lead, speed = np.array([f[0] for f in steps]), np.array([f[1] for f in steps]) / STEP_S
    crept_m = TRAVEL_M - TRAVEL_M[0]
    design = np.column_stack([lead, 0.02 * crept_m, -STEP_S / np.sqrt(12) * SPEED_M_S])
    shows = np.column_stack([speed, 0.02 * SPEED_M_S, np.zeros(N)])
    # What lasts is known beforehand to one unit; where the lead starts hardly at all.
    normal = design.T @ design / U_WAY_M**2 + np.diag([0.0, 0.0, 0.0, 1.0, 1.0])
    covariance = np.linalg.inv(normal)
    slip_m_s = shows @ (covariance @ design.T @ (way_m - TRAVEL_M)) / U_WAY_M**2
    u_m_s = np.sqrt(np.einsum("ni,ij,nj->n", shows, covariance, shows))
    inside = slice(10, None)
    assert found.u_ahead_m_s[inside] == pytest.approx(u_m_s[inside], rel=0.02)
    assert np.abs(found.ahead_m_s - slip_m_s)[inside].max() < 0.05 * u_m_s[inside].min()


@pytest.mark.parametrize(("creep", "late_s"), [(0.01, 0.0), (0.0, 0.008), (-0.015, -0.005)])
def test_creep_is_slip_and_a_delay_is_none(creep: float, late_s: float) -> None:
    """A wheel that creeps as it grips, seen late by its coded marks: the slip is creep times speed, as u says."""
    generator = np.random.default_rng(8)
    errors, ratios = [], []
    for _ in range(10):
        way_m = (1 + creep) * (TRAVEL_M - late_s * SPEED_M_S) + U_WAY_M * generator.standard_normal(N)
        found = smoothed(way_m, creep_and_delay(), None)
        errors.append(found.ahead_m_s - creep * SPEED_M_S)
        ratios.append(errors[-1] / found.u_ahead_m_s)
        surface_m = found.surface_m - found.surface_m[0] - (1 + creep) * TRAVEL_M
        # What is seen late is not behind: the way is right at every moment.
        assert np.abs(surface_m).max() < 4 * U_WAY_M
    # Ten runs of few independent errors each: their share inside is known to some 7 %.
    assert np.mean(np.abs(np.array(ratios)) < 1.96) > 0.80
    assert np.sqrt(np.mean(np.array(errors) ** 2)) < 0.002
