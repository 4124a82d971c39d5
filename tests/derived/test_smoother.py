"""The smoother against closed forms: what its covariance must be where theory says it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchvision.motion.filtering import step_matrices
from matchvision.motion.smoothing import SlowNoise, smooth_series


@given(
    st.integers(1, 3),
    st.floats(0.01, 2.0),
    st.floats(0.01, 2.0),
    st.sampled_from([0.3, np.inf]),
)
def test_steps_add_up(order: int, first: float, second: float, relax: float) -> None:
    """Two steps one after the other are one long step: F = F₂ F₁, Q = F₂ Q₁ F₂ᵀ + Q₂."""
    f, q = step_matrices(np.array([first, second, first + second]), order, relax)
    assert f[1] @ f[0] == pytest.approx(f[2], rel=1e-6, abs=1e-9)
    assert f[1] @ q[0] @ f[1].T + q[1] == pytest.approx(q[2], rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(("n", "gain"), [(5, 0.316228), (7, 0.188982), (11, 0.0953463), (21, 0.0360375)])
def test_stiff_smoother_is_a_straight_line(n: int, gain: float) -> None:
    """Without driving noise, the rate in the middle is a fitted line's slope: u = (σ/Δt) √(12/(n (n² − 1)))."""
    step, sigma = 1 / 30, 0.0005
    x = sigma * np.sin(np.arange(n) * 1.7)
    smoothed = smooth_series(np.arange(float(n)) * step, x, np.full(n, sigma), order=2, drive=1e-18)
    assert smoothed.u_rate[n // 2] == pytest.approx(gain * sigma / step, rel=2e-3)
    assert smoothed.rate[n // 2] == pytest.approx(np.polyfit(np.arange(n) * step, x, 1)[0], abs=2e-3 * sigma / step)


@pytest.mark.parametrize("ratio", [0.01, 0.1, 1.0])
def test_level_variance(ratio: float) -> None:
    """Random walk of step variance λr in noise r: the smoothed variance far from the ends is r √(λ/(λ + 4)).

    From the spectra: (1/2π) ∫ r S/(S + r) dω with S = λr/(2 − 2 cos ω).
    """
    n, r = 401, 4.0
    smoothed = smooth_series(
        np.arange(float(n)), np.zeros(n) + np.arange(n) % 2, np.full(n, 2.0), order=1, drive=ratio * r, longest_gap_s=2
    )
    assert smoothed.u_value[n // 2] ** 2 == pytest.approx(r * np.sqrt(ratio / (ratio + 4)), rel=1e-6)


def test_rate_variance() -> None:
    """Noise q on the acceleration, data noise r every Δ: u²(rate) = q/(2√2) · (rΔ/q)^¼ while Δ is short.

    From the spectra: (1/2π) ∫ ω² · rΔ S/(S + rΔ) dω with S = q/ω⁴.
    """
    n, step, sigma, q = 2001, 1 / 240, 0.0003, 0.002
    smoothed = smooth_series(np.arange(float(n)) * step, np.zeros(n), np.full(n, sigma), order=2, drive=q)
    expected = q / (2 * np.sqrt(2)) * (sigma**2 * step / q) ** 0.25
    assert smoothed.u_rate[n // 2] ** 2 == pytest.approx(expected, rel=0.01)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_dropping_frames_never_lowers_u(seed: int) -> None:
    generator = np.random.default_rng(seed)
    t = np.cumsum(generator.uniform(0.01, 0.03, 60))
    x, u = generator.standard_normal(60), np.full(60, 0.5)
    lost = generator.random(60) < 0.3
    lost[[0, -1]] = False
    whole = smooth_series(t, x, u, drive=5.0)
    gappy = smooth_series(t, np.where(lost, np.nan, x), u, drive=5.0)
    known = np.isfinite(gappy.value)
    for a, b in ((whole.u_value, gappy.u_value), (whole.u_rate, gappy.u_rate), (whole.u_accel, gappy.u_accel)):
        assert np.all(b[known] >= a[known] * (1 - 1e-6))


def test_gaps_and_ends_are_not_filled() -> None:
    t = np.arange(120) / 60.0
    x = np.sin(t)
    x[:5] = np.nan
    x[40:50] = np.nan
    x[70:95] = np.nan
    x[-3:] = np.nan
    smoothed = smooth_series(t, x + 1e-4 * np.cos(37 * np.arange(120)), np.full(120, 1e-4))
    known = np.isfinite(smoothed.value)
    assert not known[:5].any()
    assert known[5:70].all()
    assert not known[70:95].any()
    assert known[95:117].all()
    assert not known[117:].any()
    assert np.abs(smoothed.rate - np.cos(t))[5:70].max() < 0.02


def test_stated_noise_is_corrected() -> None:
    generator = np.random.default_rng(8)
    t = np.arange(400) / 60.0
    x = 0.2 * np.sin(2 * t) + 3e-4 * generator.standard_normal(400)
    smoothed = smooth_series(t, x, np.full(400, 1e-4))
    assert smoothed.noise_factor == pytest.approx(3.0, rel=0.12)


def test_wild_value_is_put_aside() -> None:
    generator = np.random.default_rng(9)
    t = np.arange(300) / 60.0
    x = 0.1 * t + 3e-4 * generator.standard_normal(300)
    x[150] += 0.05
    smoothed = smooth_series(t, x, np.full(300, 3e-4))
    assert not smoothed.kept[150]
    assert smoothed.kept.sum() == 299
    assert abs(smoothed.value[150] - 0.1 * t[150]) < 1e-3


def test_slow_noise_is_not_taken_for_motion() -> None:
    """What wanders by a known amount and forgets itself is not a rate, and the covariance says so."""
    generator = np.random.default_rng(10)
    t = np.arange(900) / 60.0
    keep = np.exp(-1 / 60.0 / 0.15)
    slow = np.zeros(900)
    for k in range(1, 900):
        slow[k] = keep * slow[k - 1] + 5e-4 * np.sqrt(1 - keep**2) * generator.standard_normal()
    seen = 0.1 * np.sin(t) + slow + 2e-4 * generator.standard_normal(900)
    told = smooth_series(t, seen, np.full(900, 2e-4), slow=SlowNoise(5e-4, 0.15))
    untold = smooth_series(t, seen, np.full(900, 2e-4))
    error, error_untold = told.rate - 0.1 * np.cos(t), untold.rate - 0.1 * np.cos(t)
    assert np.sqrt(np.mean(error**2)) < 0.7 * np.sqrt(np.mean(error_untold**2))
    # Some 60 independent rates: rms(error/u) to 9 %; three of that.
    assert np.sqrt(np.mean((error / told.u_rate) ** 2)) == pytest.approx(1.0, abs=0.3)
