"""Refits brought to their minimum and evidence by draws, against closed forms and a general minimiser."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import minimize
from scipy.stats import genpareto, multivariate_normal

from matchvision.verdict.causes.refits.erring import ERROR_IN_TIME_S, ERROR_LASTS_S, MODEL_ERROR_CHANCES, MODEL_ERRORS
from matchvision.verdict.causes.refits.observing import Observed, Series
from matchvision.verdict.causes.refits.onset import onset_s
from matchvision.verdict.causes.refits.refitting import RunFitter, log_sum
from matchvision.verdict.causes.refits.settling import (
    HEAVY_NATS,
    WORST_SHAPE,
    draw,
    fit_pareto,
    known_better,
    log_density,
    settle,
    smooth_tail,
)

FloatArray = npt.NDArray[np.float64]


def observed(values: FloatArray) -> Observed:
    t_s: FloatArray = 0.05 + 0.1 * np.arange(len(values), dtype=np.float64)
    return Observed(t_s, (Series("speed", "heron", 0, values, np.full(len(values), 0.01), 1.0),))


def noisy(values: FloatArray) -> FloatArray:
    return values + 0.01 * np.random.default_rng(3).standard_normal(len(values))


T_S: FloatArray = 0.05 + 0.1 * np.arange(40, dtype=np.float64)


def test_drawn_evidence_of_a_line_is_the_closed_form() -> None:
    """With y = z t and z ~ N(0, 1), y ~ N(0, C + t tᵀ) for each size of the model's error, and these are mixed."""
    run = observed(noisy(0.7 * T_S))
    fitter = RunFitter(run)
    values = run.series[0].values

    def predict(z: FloatArray) -> list[FloatArray]:
        return [z[0] * T_S]

    fit = settle(fitter, predict, fitter.refit(predict, np.zeros(1)))
    logs = []
    for share, chance in zip(MODEL_ERRORS, MODEL_ERROR_CHANCES, strict=True):
        late = share * ERROR_IN_TIME_S * np.gradient(values, T_S)
        covariance = share**2 * np.exp(-np.abs(T_S[:, None] - T_S[None, :]) / ERROR_LASTS_S)
        covariance += np.diag(0.01**2 + late**2) + np.outer(T_S, T_S)
        logs.append(np.log(chance) + multivariate_normal(np.zeros(40), covariance).logpdf(values))
    drawn = draw(fitter, predict, fit.z, fit.covariance)
    assert drawn.shape < WORST_SHAPE
    assert drawn.u_log_evidence < 0.1
    assert drawn.log_evidence == pytest.approx(log_sum(logs), abs=4 * drawn.u_log_evidence + 0.02)
    assert fit.log_evidence == pytest.approx(log_sum(logs), abs=0.05)


def test_curved_model_settles_where_a_general_minimiser_does() -> None:
    """Two numbers that bend: what a first refit with slopes that were only followed leaves is gone after settling."""
    run = observed(noisy(np.exp(0.8) * (1 - np.exp(-T_S * np.exp(0.9)))))
    fitter = RunFitter(run)

    def predict(z: FloatArray) -> list[FloatArray]:
        return [np.exp(z[0]) * (1 - np.exp(-T_S * np.exp(z[1])))]

    def cost(z: FloatArray) -> float:
        return 0.5 * float(z @ z) - log_density(fitter, fitter.residuals(predict(z)))[0]

    best = minimize(cost, np.array([0.8, 0.9]), method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-7})
    rough = fitter.refit(predict, np.array([-0.5, -1.0]), rounds=1, anew=0)
    fit = settle(fitter, predict, rough)
    spreads = np.sqrt(np.diag(fit.covariance))
    assert np.all(np.abs(fit.z - best.x) < 0.3 * spreads)
    assert cost(fit.z) < best.fun + 0.1


def test_draws_far_from_the_truth_say_that_they_do_not_settle() -> None:
    """Drawn from much too narrow a guess: a few weights carry all, and the tail's shape tells."""
    run = observed(noisy(0.7 * T_S))
    fitter = RunFitter(run)

    def predict(z: FloatArray) -> list[FloatArray]:
        return [z[0] * T_S]

    fit = settle(fitter, predict, fitter.refit(predict, np.zeros(1)))
    drawn = draw(fitter, predict, fit.z + 2.0 * np.sqrt(fit.covariance[0]), 0.02 * fit.covariance)
    assert drawn.shape > WORST_SHAPE
    assert drawn.agreed(fit.log_evidence) == (fit.log_evidence, HEAVY_NATS)


@pytest.mark.parametrize("shape", [0.2, 0.5, 0.9])
def test_shape_of_a_pareto_tail(shape: float) -> None:
    """Fitted to evenly spaced quantiles of the distribution itself; the fit is drawn to 0.5 by ten draws' worth."""
    count = 2000
    over = genpareto(shape, scale=2.0).ppf((np.arange(count) + 0.5) / count)
    told, scale = fit_pareto(over)
    assert told == pytest.approx(shape, abs=0.04)
    assert scale == pytest.approx(2.0, rel=0.06)


def test_smoothed_weights_keep_their_order_and_never_grow_past_the_largest() -> None:
    logs = np.random.default_rng(2).standard_normal(60) * 2
    smooth, _ = smooth_tail(logs)
    assert np.array_equal(np.argsort(smooth), np.argsort(logs))
    assert smooth.max() <= logs.max()


def test_known_better_is_what_conditioning_gives() -> None:
    """A normal distribution's number is measured once more: the others follow as by Bayes' theorem."""
    root = np.random.default_rng(1).standard_normal((3, 3))
    covariance, centre = root @ root.T, np.array([0.3, -0.2, 1.0])
    seen, u_seen = 0.7, 0.4
    gain = covariance[:, 1] / (covariance[1, 1] + u_seen**2)
    after = covariance - np.outer(gain, covariance[1])
    moved, told = known_better(centre, covariance, 1, centre[1] + gain[1] * (seen - centre[1]), np.sqrt(after[1, 1]))
    assert moved == pytest.approx(centre + gain * (seen - centre[1]))
    assert told == pytest.approx(after)


def test_onset_is_where_a_series_leaves_the_line() -> None:
    """A line of any slope until 2.4 s, and something else from then on."""
    values = noisy(0.3 * T_S + np.where(T_S > 2.4, 0.6 * np.sin(4 * (T_S - 2.4)), 0.0))
    fitter = RunFitter(observed(values))
    assert onset_s(fitter, [0.2 * T_S], [T_S[:, None]]) == pytest.approx(2.4, abs=0.15)
