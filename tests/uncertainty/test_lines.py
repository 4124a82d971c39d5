"""Weighted lines and their honesty."""

import numpy as np
import pytest

from matchvision.uncertainty import fit_line, predict_line


def test_weighted_line_agrees_with_numpy() -> None:
    g = np.random.default_rng(5)
    x, u = np.linspace(0, 3, 12), g.uniform(0.1, 0.4, 12)
    y = 1 + 2 * x + u * g.standard_normal(12)
    fit = fit_line(x, y, u)
    coefficients, covariance = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    assert [fit.slope, fit.intercept] == pytest.approx(list(coefficients), rel=1e-9)
    widened = max(1.0, fit.s**2)
    assert fit.covariance[::-1, ::-1] == pytest.approx(covariance * widened, rel=1e-9)


def test_prediction_covers_beyond_the_points() -> None:
    g = np.random.default_rng(6)
    x = np.linspace(0, 1, 8)
    inside = 0
    for _ in range(400):
        fit = fit_line(x, 1 + 0.5 * x + 0.1 * g.standard_normal(8), 0.1)
        y, u = predict_line(fit, 2.0)
        inside += abs(float(y) - 2.0) <= 1.96 * float(u)
    # Widening for large scatter adds a little; four standard errors of a 95 % share of 400 are 4.4 %.
    assert 0.92 <= inside / 400 <= 0.995


@pytest.mark.parametrize("x", [[1.0, 2.0], [1.0, 1.0, 1.0]])
def test_too_little_is_refused(x: list[float]) -> None:
    with pytest.raises(ValueError, match="three points"):
        fit_line(np.array(x), np.array(x))
