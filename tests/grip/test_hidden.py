"""The hidden-state model against sums over every path, and its dates."""

from itertools import product

import numpy as np
import pytest
from scipy.linalg import expm

from matchvision.grip.hidden import date_entry, forward_backward, tied_frames
from tests.made_motion import seconds

RATES = np.array([[0.0, 1.0, 0.4], [2.0, 0.0, 0.3], [0.7, 0.1, 0.0]])


def test_small_chain_by_summing_over_all_paths() -> None:
    """Five frames at uneven times, three states: 243 paths, each with its own probability."""
    generator = np.random.default_rng(4)
    likelihood = generator.uniform(0.05, 1.0, (5, 3))
    t_s = np.array([0.0, 0.1, 0.15, 0.4, 0.5])
    rates = RATES - np.diag(RATES.sum(axis=1))
    steps = [expm(rates * dt) for dt in np.diff(t_s)]
    chance, joint = np.zeros((5, 3)), np.zeros((4, 3, 3))
    for path in product(range(3), repeat=5):
        weight = np.prod([likelihood[k, s] for k, s in enumerate(path)])
        weight *= np.prod([steps[k][path[k], path[k + 1]] for k in range(4)])
        for k, s in enumerate(path):
            chance[k, s] += weight
        for k in range(4):
            joint[k, path[k], path[k + 1]] += weight
    total = chance[0].sum()
    chain = forward_backward(likelihood, t_s, RATES)
    np.testing.assert_allclose(chain.chance, chance / total, rtol=1e-9)
    np.testing.assert_allclose(chain.joint, joint / total, rtol=1e-9)


def test_entry_is_dated_with_its_spread() -> None:
    """A step in clear data is dated to the frame; in faint data its spread is that of many made runs."""
    t_s = seconds(3.0)
    generator = np.random.default_rng(5)
    errors, stated = [], []
    for _ in range(60):
        value = np.where(t_s >= 1.504, 1.0, 0.0) + generator.standard_normal(len(t_s))
        likelihood = np.stack([np.exp(-0.5 * value**2), np.exp(-0.5 * (value - 1) ** 2)], axis=-1)
        chain = forward_backward(likelihood, t_s, np.array([[0.0, 0.4], [0.4, 0.0]]))
        first = int(np.argmax(chain.chance[:, 1] > 0.5))
        at_s, u_s = date_entry(chain, [1], t_s, first)
        errors.append(at_s - 1.504)
        stated.append(u_s)
    ratio = np.sqrt(np.mean(np.square(errors)) / np.mean(np.square(stated)))
    assert 0.7 < ratio < 1.4
    clear = np.where(t_s >= 1.504, 1.0, 0.0)
    likelihood = np.stack([1.0 - clear, clear], axis=-1)
    at_s, u_s = date_entry(forward_backward(likelihood, t_s, RATES[:2, :2]), [1], t_s, 91)
    assert at_s == pytest.approx(1.504, abs=1 / 60)
    assert u_s < 0.006


def test_tied_frames_count_once() -> None:
    """Noise of correlation 0.6 from frame to frame: four frames say what one independent frame would."""
    generator = np.random.default_rng(6)
    n, rho = 4000, 0.6
    noise = np.empty(n)
    noise[0] = generator.standard_normal()
    for k in range(1, n):
        noise[k] = rho * noise[k - 1] + np.sqrt(1 - rho**2) * generator.standard_normal()
    t_s = np.arange(n) / 60
    assert tied_frames(noise, np.ones(n), t_s) == pytest.approx(4.0, abs=0.6)
    assert tied_frames(generator.standard_normal(n), np.ones(n), t_s) == pytest.approx(1.0, abs=0.25)
