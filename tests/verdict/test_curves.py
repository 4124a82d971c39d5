"""Predicted curves against measured ones: later or sooner, larger or smaller."""

import math

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.verdict.curves import Apart, hold_apart

T_S = np.arange(0.0, 8.001, 1 / 60)
FINE_S = np.arange(0.0, 8.001, 0.02)


def ramp(t_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """A pull that rises, gives way and holds."""
    return 20.0 / (1.0 + np.exp(-3.0 * (t_s - 2.0))) - 5.0 / (1.0 + np.exp(-4.0 * (t_s - 5.0)))


def apart(late_s: float = 0.0, size: float = 1.0, noise: float = 0.0, u: float = 0.5) -> Apart:
    measured = ramp(T_S) + noise * np.random.default_rng(3).normal(size=len(T_S))
    predicted = size * ramp(FINE_S - late_s)
    told = (FINE_S, predicted, np.full(len(FINE_S), u))
    found = hold_apart(told, (T_S, measured, np.full(len(T_S), 0.1)), 0.0, 8.0)
    assert found is not None
    return found


@pytest.mark.parametrize("late_s", [-0.35, 0.0, 0.2])
@pytest.mark.parametrize("size", [0.8, 1.0, 1.25])
def test_shift_and_size_are_told_apart(late_s: float, size: float) -> None:
    found = apart(late_s, size, noise=0.2)
    assert found.shift_s == pytest.approx(late_s, abs=0.02)
    assert found.size_ratio == pytest.approx(size, rel=0.01)
    assert abs(found.shift_s - late_s) < 2 * found.u_shift_s
    assert abs(found.size_ratio - size) < 2 * found.u_size_ratio
    # Read by straight lines between frames, two thirds of the noise's variance are left.
    left = 0.2 * math.sqrt(2 / 3)
    assert found.shape_ratio == pytest.approx(left / math.sqrt(np.mean(ramp(T_S) ** 2)), rel=0.1)


def test_distance_is_the_raw_one() -> None:
    found = apart(size=1.25)
    assert found.distance_ratio == pytest.approx(0.25, rel=1e-3)
    assert found.shape_ratio < 0.005


def test_a_curve_without_a_bend_has_no_shift() -> None:
    level = (T_S, np.full(len(T_S), 20.0) + np.random.default_rng(1).normal(size=len(T_S)), np.full(len(T_S), 0.5))
    told = (FINE_S, np.full(len(FINE_S), 22.0), np.full(len(FINE_S), 1.0))
    found = hold_apart(told, level, 0.0, 8.0)
    assert found is not None
    assert math.isnan(found.shift_s)
    assert found.size_ratio == pytest.approx(1.1, rel=0.02)


def test_coverage_and_crps_follow_the_band() -> None:
    assert apart(size=1.1, u=2.0).inside_ratio == 1.0
    assert apart(size=1.25, u=0.3).inside_ratio < 0.4
    # A band that is honest beats one that is too narrow and one that is too wide.
    honest, narrow, wide = (apart(size=1.1, u=u).crps_ratio for u in (1.5, 0.05, 15.0))
    assert honest < narrow
    assert honest < wide


def test_too_little_in_common_is_not_compared() -> None:
    some = (T_S[:60], ramp(T_S[:60]), np.full(60, 0.1))
    assert hold_apart((FINE_S, ramp(FINE_S), np.full(len(FINE_S), 0.5)), some, 0.0, 8.0) is None
