"""Courses drawn from a smoother, against the joint normal distribution of all states written out."""

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.motion.drawing import draw_courses
from matchvision.motion.filtering import run_channels, run_smoother, step_matrices

PAIRS = 4000
N = 12


def model() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Value, rate and acceleration, and an error of the data that lasts: nothing drives it, its size is a state."""
    transition, drive = np.zeros((N - 1, 4, 4)), np.zeros((N - 1, 4, 4))
    transition[:, :3, :3], drive[:, :3, :3] = step_matrices(np.linspace(0.7, 1.3, N - 1), 3, 1.5)
    transition[:, 3, 3] = 1.0
    look = np.tile([1.0, 0.0, 0.0, 0.5], (N, 1))
    look[:, 3] *= np.linspace(0.0, 1.0, N)
    return transition, drive, look, np.array([4.0, 2.0, 1.0, 1.0])


def exact(y: FloatArray, r: FloatArray, rate: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean (n,) and covariance (n, n) of a combination of the states given all data, by conditioning them at once."""
    transition, drive, look, start = model()
    mean, spread = np.zeros((N, 4)), np.zeros((N, 4, N, 4))
    # The first value says where the first state starts.
    mean[0, 0], spread[0, :, 0] = y[0], np.diag(start)
    for k in range(1, N):
        mean[k] = transition[k - 1] @ mean[k - 1]
        for j in range(k):
            spread[k, :, j] = transition[k - 1] @ spread[k - 1, :, j]
            spread[j, :, k] = spread[k, :, j].T
        spread[k, :, k] = transition[k - 1] @ spread[k - 1, :, k - 1] @ transition[k - 1].T + drive[k - 1]
    whole = spread.reshape(4 * N, 4 * N)
    seen, wanted = np.zeros((N, 4 * N)), np.zeros((N, 4 * N))
    for k in range(N):
        seen[k, 4 * k : 4 * k + 4], wanted[k, 4 * k : 4 * k + 4] = look[k], rate[k]
    gain = whole @ seen.T @ np.linalg.inv(seen @ whole @ seen.T + np.diag(r))
    after = mean.ravel() + gain @ (y - seen @ mean.ravel())
    left = whole - gain @ seen @ whole
    return wanted @ after, wanted @ left @ wanted.T


def test_drawn_courses_have_the_smoothers_spread_and_tie() -> None:
    generator = np.random.default_rng(11)
    transition, drive, look, start = model()
    y, r = generator.normal(size=N).cumsum(), generator.uniform(0.3, 1.0, N)
    entry = np.zeros(1, dtype=np.int64)
    filtered = run_channels(y[:, None], r[:, None], look[:, None], entry, transition, drive, start)[:4]
    x, p = run_smoother(*filtered, transition)
    # The rate, and some of what lasts.
    rate = np.tile([0.0, 1.0, 0.0, 0.3], (N, 1))
    mean, spread = exact(y, r, rate)
    for first, last in ((0, N - 1), (3, 8)):
        here = slice(first, last + 1)
        drawn = draw_courses(
            tuple(part[here] for part in filtered), transition[first:last], (x[last], p[last]), rate[here], PAIRS,
            generator,
        )  # fmt: skip
        # Mirrored pairs have the smoothed course as their mean.
        np.testing.assert_allclose(drawn.mean(axis=0), mean[here], atol=1e-8)
        own = (drawn[:PAIRS] - mean[here]).T @ (drawn[:PAIRS] - mean[here]) / PAIRS
        so = spread[here, here]
        size = np.diag(so)
        # So much are covariances of so many draws off; six of that, for some hundred of them.
        off = np.sqrt((np.outer(size, size) + so**2) / PAIRS)
        assert (np.abs(own - so) < 6 * off).all()
