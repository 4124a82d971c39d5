"""The quick score of levels against the filter itself."""

import numpy as np
import pytest

from matchvision.motion.filtering import add_slow_noise, run_filter, step_matrices
from matchvision.motion.scoring import pack_series, score_levels, sum_levels

SKIP = 3


@pytest.mark.parametrize("order", [1, 2, 3])
@pytest.mark.parametrize("u_slow", [0.0, 0.4])
def test_levels_are_scored_as_the_filter_says(order: int, u_slow: float) -> None:
    rng = np.random.default_rng(order)
    n = 60
    steps = rng.uniform(0.5, 1.5, n - 1)
    y, r = rng.normal(size=n).cumsum(), rng.uniform(0.5, 2.0, n)
    y[rng.random(n) < 0.2] = np.nan
    shape, share = rng.uniform(0.1, 3.0, n - 1), rng.uniform(0.2, 1.0, n)
    transition, drive = step_matrices(steps, order, 1.5 if order == 3 else np.inf)
    look, *model = add_slow_noise(transition, drive, np.full(order, 90.0), steps, u_slow, 4.0)
    transition, drive, fixed, start = model
    looks = np.tile(look, (n, 1))
    if u_slow:
        looks[:, order] = share
    levels = np.array([1e-3, 0.2, 7.0])
    packed = pack_series(y, r, looks, transition, drive, fixed, start, order).noisier(1.7)
    found = sum_levels(packed, levels, shape, SKIP)
    scores = score_levels(packed, levels, SKIP)
    for k, level in enumerate(levels):
        *_, e, s = run_filter(y, 1.7 * r, level * shape, transition, drive, start, looks, 1.7 * fixed)
        known = np.isfinite(e)
        assert found[0][k] == pytest.approx((e**2 / s)[known][SKIP:].sum(), rel=1e-9)
        assert found[1][k] == pytest.approx(np.log(s)[known][SKIP:].sum(), rel=1e-9)
        *_, e, s = run_filter(y, 1.7 * r, np.full(n - 1, level), transition, drive, start, looks, 1.7 * fixed)
        expected = np.nan_to_num(-0.5 * (np.log(s) + e**2 / s))
        expected[np.flatnonzero(known)[:SKIP]] = 0.0
        np.testing.assert_allclose(scores[k], expected, rtol=1e-9, atol=1e-12)
