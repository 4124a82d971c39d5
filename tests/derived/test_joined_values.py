"""A few values joined over time: what is stated between them holds what really happened there."""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.uncertainty import join_values

FloatArray = npt.NDArray[np.float64]
Motion = Callable[[np.random.Generator, FloatArray], FloatArray]


def wandering(rng: np.random.Generator, at_s: FloatArray) -> FloatArray:
    """The model's own motion: a rate that wanders, its level anywhere within a factor of ten of what is expected."""
    step = np.diff(at_s, prepend=at_s[0])
    level = 0.02 * 10.0 ** rng.normal(0.0, 0.5)
    rate = rng.normal(0, 0.1) + np.cumsum(rng.normal(0, 1, len(at_s)) * np.sqrt(level * step))
    return np.asarray(np.cumsum(rate * step))


def waiting_and_pulling(rng: np.random.Generator, at_s: FloatArray) -> FloatArray:
    """A contest's motion, which is none of the model's: standing, pulling at changing speed, slipping back."""
    times = np.concatenate([[-1.0], np.sort(rng.uniform(0, at_s[-1], 5)), [at_s[-1] + 1]])
    speeds = np.concatenate([[0.0, 0.0], rng.uniform(-0.05, 0.15, 5)])
    return np.asarray(np.cumsum(np.interp(at_s, times, speeds)) * (at_s[1] - at_s[0]))


@pytest.mark.parametrize(
    ("motion", "inside", "ratio"), [(wandering, 0.93, (0.6, 1.1)), (waiting_and_pulling, 0.93, (0.4, 1.1))]
)
def test_stated_uncertainty_holds_the_truth(motion: Motion, inside: float, ratio: tuple[float, float]) -> None:
    """Between and at values set at 3 to 8 moments: 95 % intervals, and the errors' size against the stated one."""
    errors, stated = (np.concatenate(part) for part in zip(*_errors(motion), strict=True))
    assert np.mean(np.abs(errors) < 1.96 * stated) > inside
    spread = np.sqrt(np.mean((errors / stated) ** 2))
    assert ratio[0] < spread < ratio[1], spread


def _errors(motion: Motion) -> Iterator[tuple[FloatArray, FloatArray]]:
    rng = np.random.default_rng(8)
    at_s = np.linspace(0.0, 6.0, 181)
    for _ in range(120):
        truth = motion(rng, at_s)
        rows = np.sort(rng.choice(len(at_s), int(rng.integers(3, 9)), replace=False))
        u = np.full(len(rows), 0.002)
        joined = join_values(at_s[rows], truth[rows] + rng.normal(0, u), u, at_s)
        known = np.isfinite(joined.value)
        assert known.sum() == rows[-1] - rows[0] + 1
        # One moment in each run, so that the runs are independent.
        k = rng.choice(np.flatnonzero(known))
        yield np.array([joined.value[k] - truth[k]]), np.array([joined.u_value[k]])


def test_at_a_value_it_is_as_sure_as_the_value_and_between_less() -> None:
    at_s = np.linspace(0, 2, 41)
    joined = join_values(np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.3, 0.2]), np.full(3, 0.001), at_s)
    assert joined.u_value[[0, 20, 40]] == pytest.approx(0.001, rel=0.02)
    assert joined.u_value[10] > 10 * joined.u_value[20]
    assert np.all(np.diff(joined.u_value[20:30]) > 0)
    assert joined.rate[20] == pytest.approx(np.gradient(joined.value, at_s)[20], abs=0.01)


def test_a_straight_motion_is_carried_on_without_a_bend() -> None:
    at_s = np.linspace(0, 2, 9)
    joined = join_values(at_s[::4], 0.2 * at_s[::4], np.full(3, 0.001), at_s)
    assert joined.value == pytest.approx(0.2 * at_s, abs=1e-9)


def test_one_value_says_nothing_of_other_moments() -> None:
    joined = join_values(np.array([1.0]), np.array([0.5]), np.array([0.01]), np.array([0.0, 1.0, 2.0]))
    assert np.isnan(joined.value[[0, 2]]).all()
    assert (joined.value[1], joined.u_value[1]) == (0.5, 0.01)
