"""What so many runs can show: against simulation, and in closed form."""

import math

import numpy as np
import pytest

from matchvision.repeats import find_change, runs_to_see, seen_change, success_runs


@pytest.mark.parametrize("runs", [2, 3, 6])
def test_the_smallest_change_is_seen_in_four_cases_of_five(runs: int) -> None:
    """Simulated with equal scatter."""
    draw = np.random.default_rng(11)
    change = seen_change(2.0, runs)
    trials = 1500
    seen = 0
    for _ in range(trials):
        found = find_change(draw.normal(0, 2, runs).tolist(), draw.normal(change, 2, runs).tolist())
        seen += found is not None and found.p < 0.05
    assert abs(seen / trials - 0.80) < 3 * math.sqrt(0.16 / trials)


def test_chance_of_improvement_is_honest() -> None:
    """Where the true change is as likely up as down and wide against the scatter, stated chances come true."""
    draw = np.random.default_rng(5)
    stated, happened = [], []
    for _ in range(1500):
        true = draw.normal(0, 1.5)
        found = find_change(draw.normal(0, 1, 4).tolist(), draw.normal(true, 1, 4).tolist())
        if found is not None:
            stated.append(found.chance_more)
            happened.append(true > 0)
    chances, came = np.array(stated), np.array(happened)
    for low, high in ((0.0, 0.1), (0.1, 0.35), (0.35, 0.65), (0.65, 0.9), (0.9, 1.0)):
        inside = (chances >= low) & (chances <= high)
        tolerance = 3 * math.sqrt(0.25 / inside.sum())
        assert abs(chances[inside].mean() - came[inside].mean()) < tolerance


def test_more_runs_show_less() -> None:
    assert seen_change(1.0, 3) > seen_change(1.0, 4) > seen_change(1.0, 20)
    # Large n: (z_0.975 + z_0.8) √(2/n)
    assert seen_change(1.0, 2000) == pytest.approx((1.959964 + 0.841621) * math.sqrt(2 / 2000), rel=2e-3)


def test_runs_to_see_is_the_least_that_suffices() -> None:
    n = runs_to_see(1.0, 1.2)
    assert seen_change(1.0, n) <= 1.2 < seen_change(1.0, n - 1)
    assert runs_to_see(1.0, 0.01) == 0


def test_runs_without_a_failure() -> None:
    """N = ln(1 - C)/ln R, rounded up; with a failure the binomial sum: 38 runs (recomputed)."""
    assert success_runs(0.9, 0.9) == 22
    assert success_runs(0.95, 0.95) == 59
    n = success_runs(0.9, 0.9, failures=1)

    def chance(runs: int) -> float:
        return 0.9**runs + runs * 0.1 * 0.9 ** (runs - 1)

    assert n == 38
    assert chance(n) <= 0.1 < chance(n - 1)
