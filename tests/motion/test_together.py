"""Travel and lead, smoothed as one."""

import numpy as np
import pytest

from matchvision.motion.smoothing import SlowNoise, smooth_series
from matchvision.motion.together import smooth_together

EVER = np.ones(1000, dtype=np.bool_)
NONE = SlowNoise(0.0, 1.0)


@pytest.mark.parametrize("slow_u", [0.0, 0.0002])
def test_both_are_surer_than_each_alone(slow_u: float) -> None:
    """A wheel that grips goes with its machine: its rate is told better by both than by its own marks."""
    generator = np.random.default_rng(6)
    n, u_travel, u_way = 600, 0.0002, 0.0003
    t = np.arange(n) / 60.0
    true_speed = 0.1 * np.sin(2.0 * t)
    travel = 0.05 * (1 - np.cos(2.0 * t))
    keep = np.exp(-1 / 60.0 / 0.12)
    slow = np.zeros(n)
    for k in range(1, n):
        slow[k] = keep * slow[k - 1] + slow_u * np.sqrt(1 - keep**2) * generator.standard_normal()
    seen = travel + u_travel * generator.standard_normal(n)
    way = travel + 0.01 + slow + u_way * generator.standard_normal(n)
    noise = SlowNoise(slow_u, 0.12)
    along = smooth_series(t, seen, np.full(n, u_travel))
    alone = smooth_series(t, way, np.full(n, u_way), slow=noise)
    ahead = smooth_series(t, way - seen, np.full(n, np.hypot(u_travel, u_way)), slow=noise)
    both = smooth_together(
        t, (seen, np.full(n, u_travel)), (way, np.full(n, u_way)), along, ahead, (NONE, noise), EVER[:n]
    )
    error, error_alone = both.surface_m_s - true_speed, alone.rate - true_speed
    inside = slice(20, -20)
    assert np.sqrt(np.mean(error[inside] ** 2)) < 0.9 * np.sqrt(np.mean(error_alone[inside] ** 2))
    assert np.median(both.u_surface_m_s) < np.median(alone.u_rate)
    # 600 frames hold some 60 independent rates: rms(error/u) is known to 9 %; three of that.
    assert np.sqrt(np.mean((error / both.u_surface_m_s)[inside] ** 2)) == pytest.approx(1.0, abs=0.3)
    assert np.sqrt(np.mean((both.ahead_m_s / both.u_ahead_m_s)[inside] ** 2)) < 1.6


def test_a_slip_is_told_by_the_wheels_own_marks() -> None:
    generator = np.random.default_rng(7)
    t = np.arange(300) / 60.0
    u = np.full(300, 0.0002)
    slip = 0.2 * (t > 2.5)
    lead = 0.2 * np.maximum(t - 2.5, 0.0)
    seen = 0.05 * t + 0.0002 * generator.standard_normal(300)
    way = 0.05 * t + lead + 0.0002 * generator.standard_normal(300)
    along, ahead = smooth_series(t, seen, u), smooth_series(t, way - seen, np.hypot(u, u))
    both = smooth_together(t, (seen, u), (way, u), along, ahead, (NONE, NONE), EVER[:300])
    away = np.abs(t - 2.5) > 0.1
    assert np.abs(both.ahead_m_s - slip)[away].max() < 0.02
    assert np.abs(both.surface_m_s - 0.05 - slip)[away].max() < 0.02


def test_nothing_known_stays_unknown() -> None:
    t = np.arange(100) / 60.0
    nothing, u = np.full(100, np.nan), np.full(100, 0.001)
    along, ahead = smooth_series(t, t * 0.1, u), smooth_series(t, nothing, u)
    both = smooth_together(t, (t * 0.1, u), (nothing, u), along, ahead, (NONE, NONE), EVER[:100])
    assert np.isnan(both.surface_m_s).all()
    assert np.isnan(both.ahead_m_s).all()
