"""Means and curves state how sure they are, for noise that forgets at once and for noise that does not."""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.practice.series import fit_curve, longest_run, mean_over_blocks

STEP_S = 1 / 60


def slow_noise(generator: np.random.Generator, n: int, memory_s: float) -> npt.NDArray[np.float64]:
    """Noise of spread 1 whose correlation falls to 1/e over ``memory_s``."""
    kept = np.exp(-STEP_S / memory_s) if memory_s > 0 else 0.0
    noise = generator.standard_normal(n)
    for k in range(1, n):
        noise[k] = kept * noise[k - 1] + np.sqrt(1 - kept**2) * noise[k]
    return noise


@pytest.mark.parametrize("memory_s", [0.0, 0.05])
def test_means_hold_the_truth(memory_s: float) -> None:
    generator = np.random.default_rng(5)
    times = np.linspace(0, 239 * STEP_S, 240)
    inside = []
    for _ in range(400):
        mean = mean_over_blocks(7 + slow_noise(generator, 240, memory_s), np.zeros(240), times, np.ones(240))
        inside.append(abs(mean.value - 7) <= 2.13 * mean.u)  # Student's factor for 15 degrees of freedom
    assert 0.90 <= np.mean(inside) <= 0.985


def test_a_short_series_has_its_own_uncertainty() -> None:
    times = np.linspace(0, 19 * STEP_S, 20)
    mean = mean_over_blocks(np.linspace(1, 2, 20), np.full(20, 0.3), times, np.ones(20))
    assert mean.blocks == 2
    assert mean.u == pytest.approx(0.3)


def test_means_weigh_frames() -> None:
    times = np.linspace(0, 119 * STEP_S, 120)
    values = np.where(times < 1, 1.0, 5.0)
    mean = mean_over_blocks(values, np.zeros(120), times, np.where(times < 1, 1.0, 0.0))
    assert mean.value == pytest.approx(1.0)


@pytest.mark.parametrize("memory_s", [0.0, 0.04])
def test_curvature_holds_the_truth(memory_s: float) -> None:
    generator = np.random.default_rng(6)
    times = np.linspace(0, 119 * STEP_S, 120)
    since = times - times.mean()
    design = np.stack([np.ones_like(since), since, since**2 / 2], axis=1)
    errors = []
    for _ in range(400):
        way = 0.1 + 0.4 * since - 0.3 * since**2 / 2 + 0.0005 * slow_noise(generator, 120, memory_s)
        curve = fit_curve(design, way, times)
        errors.append((curve.coefficients[2] + 0.3) / curve.u(2))
    assert 0.89 <= np.mean(np.abs(np.array(errors)) < 2.0) <= 0.99


def test_the_longest_stretch_is_kept() -> None:
    wanted = np.array([1, 1, 0, 1, 1, 1, 0, 1], dtype=bool)
    assert longest_run(wanted, np.linspace(0, 1, 8)).tolist() == [False] * 3 + [True] * 3 + [False] * 2
    assert not longest_run(np.zeros(4, dtype=bool), np.linspace(0, 1, 4)).any()
