"""Errors of a computed match that go together, against simulation and closed forms; loads that no balance tells."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import multivariate_normal

from matchvision.mechanics.machine import MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import play_match_quickly
from matchvision.verdict.causes.refits.erring import (
    ERROR_IN_TIME_S,
    ERROR_LASTS_S,
    GO_ALIKE,
    MODEL_ERRORS,
    TURNING_ERROR,
    TURNING_LASTS_S,
    turning_error,
)
from matchvision.verdict.causes.refits.observing import Observed, Series
from matchvision.verdict.causes.refits.refitting import RunFitter

FloatArray = npt.NDArray[np.float64]

ASIDE_M = 0.12
T_S: FloatArray = 0.05 + 0.1 * np.arange(30, dtype=np.float64)
RATE_RAD_S = np.where(T_S > 1.0, 0.4, 0.0)


def turning_run() -> Observed:
    """A machine that begins to turn left at 1 s, seen by its speed, its heading and one wheel on its left."""
    heading_deg = np.rad2deg(0.4 * np.maximum(T_S - 1.0, 0.0))
    speed = 0.1 + 0.02 * np.sin(3.0 * T_S)
    small = np.full(len(T_S), 1e-3)
    return Observed(
        T_S,
        (
            Series("speed", "heron", 0, speed, small, 0.1),
            Series("heading", "heron", 0, heading_deg, 0.1 * np.ones(len(T_S)), 60.0),
            Series("surface", "heron", 0, speed - ASIDE_M * RATE_RAD_S, small, 0.1, ASIDE_M),
        ),
    )


def known(observed: Observed) -> list[npt.NDArray[np.intp]]:
    return [np.flatnonzero(np.isfinite(series.values)) for series in observed.series]


def test_turning_error_is_that_of_rates_that_are_wrong_by_a_lasting_share() -> None:
    """Ten thousand courses of a share, each integrated in small steps, against the covariance of the series."""
    observed = turning_run()
    told = turning_error(observed, known(observed), (0, 1, 2))
    assert told is not None
    fine_s = np.arange(0.0, 3.0, 0.025) + 0.0125
    lasting = np.exp(-np.abs(fine_s[:, None] - fine_s[None, :]) / TURNING_LASTS_S)
    draws = np.random.default_rng(4).standard_normal((10_000, len(fine_s)))
    shares = TURNING_ERROR * draws @ np.linalg.cholesky(lasting + 1e-9 * np.eye(len(fine_s))).T
    wrong_rad_s = shares * np.where(fine_s > 1.0, 0.4, 0.0)
    wrong_deg = np.rad2deg(np.cumsum(wrong_rad_s, axis=1) * 0.025)[:, 1::4]
    wheel_m_s = -ASIDE_M * wrong_rad_s[:, 1::4]
    n = len(T_S)
    late = T_S > 1.25  # where the turn has just begun, a measured rate is half of it
    u = np.sqrt(np.diag(told))
    assert np.all(u[:n] == 0.0)
    assert u[n : 2 * n][late] == pytest.approx(np.std(wrong_deg, axis=0)[late], rel=0.08)
    assert u[2 * n :][late] == pytest.approx(np.std(wheel_m_s, axis=0)[late], rel=0.04)
    both = told[n : 2 * n, 2 * n :] / np.outer(np.maximum(u[n : 2 * n], 1e-12), np.maximum(u[2 * n :], 1e-12))
    drawn = np.corrcoef(wrong_deg[:, late].T, wheel_m_s[:, late].T)[: late.sum(), late.sum() :]
    assert both[np.ix_(late, late)] == pytest.approx(drawn, abs=0.06)


def test_a_machine_that_goes_straight_has_no_turning_error() -> None:
    observed = turning_run()
    series = tuple(replace(one, values=np.zeros(len(T_S))) if one.what == "heading" else one for one in observed.series)
    told = turning_error(replace(observed, series=series), known(observed), (0, 1, 2))
    assert told is not None
    assert np.all(told == 0.0)
    assert turning_error(observed, known(observed), (0, 2)) is None


def test_what_speed_and_wheels_have_in_common_counts_once() -> None:
    """The density of both residuals is the closed form's, with the stated correlation between the two."""
    observed = turning_run()
    two = Observed(T_S, (observed.series[0], observed.series[2]))
    generator = np.random.default_rng(6)
    residuals = [0.01 * generator.standard_normal(len(T_S)) for _ in range(2)]
    share = MODEL_ERRORS[2]
    alike = np.array([[1.0, GO_ALIKE], [GO_ALIKE, 1.0]])
    rates = [np.gradient(series.values, T_S) for series in two.series]
    covariance = np.kron(alike, (0.1 * share) ** 2 * np.exp(-np.abs(T_S[:, None] - T_S[None, :]) / ERROR_LASTS_S))
    late = np.block([[np.diag(a * b) for b in rates] for a in rates]) * (share * ERROR_IN_TIME_S) ** 2
    covariance += np.kron(alike, np.ones((len(T_S), len(T_S)))) * late + 1e-6 * np.eye(2 * len(T_S))
    exact = multivariate_normal(np.zeros(2 * len(T_S)), covariance).logpdf(np.concatenate(residuals))
    assert float(np.sum(RunFitter(two).log_densities(residuals, share))) == pytest.approx(exact, abs=1e-6)
    apart = RunFitter(two, apart=True).log_densities(residuals, share)
    single = [
        multivariate_normal(np.zeros(len(T_S)), covariance[k : k + 30, k : k + 30]).logpdf(r)
        for k, r in zip((0, 30), residuals, strict=True)
    ]
    assert apart == pytest.approx(single, abs=1e-6)


def standing(diagonal_ratio: float) -> MatchModel:
    """A machine on four wheels without a rope, its weight in the middle; its left side is driven."""
    drive = SideDrive(0.4, 5.0)
    machine = MachineModel(
        "heron", 2.0, (0.3, 0.2, 0.1), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 0.7, 0.7, 0.2, 0.2, 0.05,
        left=drive, right=replace(drive, stall_torque_Nm=0.0), diagonal_ratio=diagonal_ratio,
    )  # fmt: skip
    return MatchModel((machine,), (Pose(0.0, 0.0, 0.0),))


def test_what_a_diagonal_carries_more_the_other_carries_less() -> None:
    """Least load of a machine that stands: a quarter of its weight less the share; its weight stays."""
    model = standing(0.3)
    idle = replace(model.machines[0], left=replace(model.machines[0].right, throttle=((0.0, 0.0),)))  # type: ignore[type-var]
    course = play_match_quickly(replace(model, machines=(idle,)), np.array([0.0, 0.2])).machines[0]
    quarter_N = 2.0 * model.gravity_m_s2 / 4
    assert course.least_load_N[-1] == pytest.approx(0.7 * quarter_N, rel=1e-6)
    assert course.load_N[-1] == pytest.approx(4 * quarter_N, rel=1e-6)


def test_load_across_the_diagonal_shows_only_where_a_machine_turns() -> None:
    t_s = np.array([0.0, 1.0])
    none, more = (play_match_quickly(standing(share), t_s).machines[0] for share in (0.0, 0.4))
    assert abs(more.heading_rad[-1] - none.heading_rad[-1]) > 0.02 * abs(none.heading_rad[-1])
    straight = [standing(share).machines[0] for share in (0.0, 0.4)]
    both = [
        play_match_quickly(MatchModel((replace(one, right=one.left),), (Pose(0.0, 0.0, 0.0),)), t_s).machines[0]
        for one in straight
    ]
    assert both[1].x_m[-1] == pytest.approx(both[0].x_m[-1], rel=1e-3)
    assert abs(both[1].heading_rad[-1]) < 1e-3
