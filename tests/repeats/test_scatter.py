"""Scatter of runs against what they say about themselves."""

import math

import numpy as np
import pytest

from matchvision.repeats import interval_of_s, repeatability, scatter_between


def test_scatter_beyond_the_runs_own_is_found_back() -> None:
    """Over many sets the interval holds the true scatter about as often as it says."""
    draw = np.random.default_rng(2)
    u, tau = np.full(6, 0.5), 1.0
    held = [
        low <= tau <= high for low, high in (_limits(draw.normal(0, tau, 6) + draw.normal(0, u), u) for _ in range(300))
    ]
    assert 0.95 - 3 * math.sqrt(0.95 * 0.05 / 300) < np.mean(held)
    assert scatter_between([1.0, 3.0, 5.0], [0.1, 0.1, 0.1])[0] == pytest.approx(2.0, rel=0.01)


def _limits(x: np.ndarray, u: np.ndarray) -> tuple[float, float]:
    _, low, high, _ = scatter_between(x.tolist(), u.tolist())
    return low, high


def test_no_scatter_beyond_the_runs_own() -> None:
    between, low, _, p_alike = scatter_between([1.0, 1.01, 0.99], [0.5, 0.5, 0.5])
    assert (between, low) == (0.0, 0.0)
    assert p_alike > 0.9


def test_unknown_uncertainties_say_nothing() -> None:
    assert all(math.isnan(v) for v in scatter_between([1.0, 2.0], [0.1, math.nan]))
    assert all(math.isnan(v) for v in scatter_between([1.0], [0.1]))


def test_groups_of_unequal_size() -> None:
    found = repeatability([[1.0, 3.0], [5.0, 5.0, 5.0], [9.0]])
    assert found.degrees == 3
    assert found.s_r == pytest.approx(math.sqrt(2 / 3))


def test_interval_of_a_standard_deviation() -> None:
    """χ² at 4 degrees: 11.143 and 0.4844 (tables)."""
    assert interval_of_s(1.0, 4) == pytest.approx((math.sqrt(4 / 11.143), math.sqrt(4 / 0.4844)), rel=1e-3)
