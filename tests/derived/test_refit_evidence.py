"""The evidence of a refit against closed forms: for a linear model every integral is a normal density."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import multivariate_normal, norm

from matchvision.verdict.causes.refits.erring import (
    ERROR_IN_TIME_S,
    ERROR_LASTS_S,
    MODEL_ERROR_CHANCES,
    MODEL_ERRORS,
    UNEXPLAINED_ERRORS,
)
from matchvision.verdict.causes.refits.observing import Observed, Series
from matchvision.verdict.causes.refits.profiling import profile
from matchvision.verdict.causes.refits.refitting import Refit, RunFitter
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import Found
from matchvision.verdict.causes.touching import STAYS, by_hand
from matchvision.verdict.causes.weighing import beside

FloatArray = npt.NDArray[np.float64]


def line(slope: float, n: int = 40) -> tuple[Observed, FloatArray]:
    """A measured series about a straight line, and its covariance as stated in words: u, and a lasting model error."""
    generator = np.random.default_rng(3)
    t_s: FloatArray = 0.05 + 0.1 * np.arange(n, dtype=np.float64)
    values = slope * t_s + 0.01 * generator.standard_normal(n)
    u = np.full(n, 0.01)
    series = Series("speed", "heron", 0, values, u, 1.0)
    late = 0.04 * ERROR_IN_TIME_S * np.gradient(values, t_s)
    lasting = np.exp(-np.abs(t_s[:, None] - t_s[None, :]) / ERROR_LASTS_S)
    return Observed(t_s, (series,)), 0.04**2 * lasting + np.diag(u**2 + late**2)


def test_evidence_of_a_line_is_the_closed_form() -> None:
    """With y = z t and z ~ N(0, 1), y ~ N(0, C + t tᵀ), and z given y is normal with the usual mean and variance."""
    observed, covariance = line(0.7)
    t_s, values = observed.t_s, observed.series[0].values
    fit = RunFitter(observed).refit(lambda z: [z[0] * t_s], np.zeros(1), shares=(0.04,), chances=(1.0,))
    exact = multivariate_normal(np.zeros(len(t_s)), covariance + np.outer(t_s, t_s)).logpdf(values)
    assert fit.log_evidence == pytest.approx(exact, abs=1e-6)
    precision = 1.0 + t_s @ np.linalg.solve(covariance, t_s)
    assert fit.z[0] == pytest.approx(t_s @ np.linalg.solve(covariance, values) / precision, abs=1e-6)
    assert fit.covariance[0, 0] == pytest.approx(1.0 / precision, rel=1e-6)


def test_sizes_of_the_models_error_are_summed_over() -> None:
    observed, _ = line(0.7)
    fitter = RunFitter(observed)
    alone = [
        fitter.refit(lambda z: [z[0] * observed.t_s], np.zeros(1), shares=(share,), chances=(1.0,)).log_evidence
        for share in (0.02, 0.08)
    ]
    both = fitter.refit(lambda z: [z[0] * observed.t_s], np.zeros(1), shares=(0.02, 0.08), chances=(0.3, 0.7))
    exact = np.logaddexp(np.log(0.3) + alone[0], np.log(0.7) + alone[1])
    assert both.log_evidence == pytest.approx(exact, abs=1e-3)


def test_number_that_explains_nothing_is_not_believed() -> None:
    """Occam: a slope that may be anything costs evidence where there is none."""
    observed, _ = line(0.0)
    fitter = RunFitter(observed)
    without = fitter.refit(lambda _: [np.zeros(40)], np.zeros(1), shares=(0.04,), chances=(1.0,))
    with_one = fitter.refit(lambda z: [z[0] * observed.t_s], np.zeros(1), shares=(0.04,), chances=(1.0,))
    assert with_one.log_evidence < without.log_evidence - 1.0


def test_profile_of_a_line_is_the_closed_form() -> None:
    """With y = a t + b: walking a, b integrated out, is the joint closed form's normal."""
    observed, _ = line(0.7)
    t_s, values = observed.t_s, observed.series[0].values
    fitter = RunFitter(observed)

    def predict(z: FloatArray) -> list[FloatArray]:
        return [z[0] * t_s + 0.3 * z[1]]

    fit = fitter.refit(predict, np.zeros(2))
    walk = profile(fitter, predict, fit, 0, prior=True, limit=(-4.0, 4.0))
    design = np.stack([t_s, np.full(len(t_s), 0.3)], axis=1)
    chances = np.array(MODEL_ERROR_CHANCES)
    means, variances, logs = [], [], []
    for share in MODEL_ERRORS:
        late = share * ERROR_IN_TIME_S * np.gradient(values, t_s)
        exact = share**2 * np.exp(-np.abs(t_s[:, None] - t_s[None, :]) / ERROR_LASTS_S)
        exact += np.diag(0.01**2 + late**2)
        precision = np.eye(2) + design.T @ np.linalg.solve(exact, design)
        means.append(np.linalg.solve(precision, design.T @ np.linalg.solve(exact, values))[0])
        variances.append(np.linalg.inv(precision)[0, 0])
        logs.append(multivariate_normal(np.zeros(len(t_s)), exact + design @ design.T).logpdf(values))
    weights = chances * np.exp(np.array(logs) - max(logs))
    log_evidence = max(logs) + np.log(weights.sum())
    weights /= weights.sum()
    mean = float(weights @ means)
    spread_all = float(np.sqrt(weights @ (np.array(variances) + (np.array(means) - mean) ** 2)))
    for outside, end in zip((0.025, 0.975), walk.ends(walk.values), strict=True):
        assert weights @ norm.cdf(end, means, np.sqrt(variances)) == pytest.approx(outside, abs=0.004)
    told, u_told = walk.moments(walk.values)
    assert told == pytest.approx(mean, abs=0.05 * spread_all)
    assert u_told == pytest.approx(spread_all, rel=0.1)
    assert walk.log_evidence == pytest.approx(log_evidence, abs=0.1)


def test_walk_over_a_date_sees_past_a_jump_that_the_slope_misses() -> None:
    """A step in a series read over tenths of a second: its slope by the date is wrong, what the date can be is not."""
    t_s: FloatArray = 0.05 + 0.1 * np.arange(40, dtype=np.float64)

    def step(date_s: float) -> FloatArray:
        return np.clip((t_s + 0.05 - date_s) / 0.1, 0.0, 1.0)

    generator = np.random.default_rng(5)
    values = step(2.03) + 0.02 * generator.standard_normal(40)
    fitter = RunFitter(Observed(t_s, (Series("speed", "heron", 0, values, np.full(40, 0.02), 1.0),)))

    def predict(z: FloatArray) -> list[FloatArray]:
        return [step(1.9 + 0.1 * z[0])]

    precision = np.array([0.01])
    fit = fitter.refit(predict, np.zeros(1), precision=precision)
    walk = profile(fitter, predict, fit, 0, prior=False, limit=(-20.0, 20.0), precision=precision)
    date_s, u_date_s = walk.moments(1.9 + 0.1 * walk.values)
    assert abs(date_s - 2.03) < 2.5 * u_date_s
    # One reading on the slope of 10 a second, known to 0.02, tells it to 2 ms; two of them by a root of two less.
    assert 0.0014 < u_date_s < 0.05


def test_what_began_under_a_hand_is_likelier_by_the_time_it_was_there() -> None:
    """Of a date that is even over 4 s, a hand that was there for 1 s: four times the density; half of it outside: half.

    What began elsewhere is not the hand's doing.
    """
    observed = Observed(0.05 + 0.1 * np.arange(40, dtype=np.float64), ())
    explanation = Explanation("drive-loss", "heron", lambda model, z, at: model, float, "1", dated=True)
    nothing = Refit(np.zeros(1), np.eye(1), 0.0, 0.0, ())

    def hand(at_s: float) -> float:
        found = [(explanation, Found(-7.0, nothing, 0.5, 0.1, (at_s,), (0.02,)))]
        told = by_hand(found, (1.0, 2.0), 1.5, observed)
        return float(sum(np.exp(one.log_evidence + one.log_prior + 7.0) for one in told))

    assert hand(1.5) == pytest.approx(4.0 * STAYS)
    assert hand(2.0) == pytest.approx(2.0 * STAYS)
    assert hand(3.0) < 1e-6


def test_a_misfit_beyond_what_the_model_gets_wrong_is_unexplained() -> None:
    """A series drawn from the covariance of each size: small ones are the model's own, large ones are something else's.

    Of two causes of which one comes near, that one counts with half of what both have.
    """
    generator = np.random.default_rng(8)
    t_s: FloatArray = 0.05 + 0.1 * np.arange(40, dtype=np.float64)
    lasting = np.exp(-np.abs(t_s[:, None] - t_s[None, :]) / ERROR_LASTS_S)

    def gain(share: float) -> float:
        values = share * np.linalg.cholesky(lasting + 1e-9 * np.eye(40)) @ generator.standard_normal(40)
        fitter = RunFitter(Observed(t_s, (Series("speed", "heron", 0, values, np.full(40, 1e-3), 1.0),)))
        fit = fitter.refit(lambda _: [np.zeros(40)], np.zeros(1))
        far = Refit(fit.z, fit.covariance, -1e4, 0.0, (), loose_log_evidence=-1e4)
        near = [(np.log(0.5) + one.log_evidence, Found(one.log_evidence, one, 0.5, 0.1, (), ())) for one in (fit, far)]
        assert beside((far,), near) == pytest.approx(fit.loose_log_evidence - np.log(4.0))
        return fit.loose_log_evidence - fit.log_evidence

    assert gain(0.003) < -2.0
    assert gain(0.3) > 3.0
    assert gain(UNEXPLAINED_ERRORS[-1]) > 3.0


def test_a_long_step_of_numbers_that_make_up_for_each_other_never_leads_uphill() -> None:
    """Two numbers whose effects nearly cancel: what a step along the slopes seems to gain is never negative."""
    observed, _ = line(0.7)
    fitter = RunFitter(observed)
    t_s = observed.t_s
    slopes = [np.stack([40.0 * t_s, -39.0 * t_s], axis=1)]
    stays = fitter.sum_up(np.zeros(2), [np.zeros(40)], slopes, unseen=0.0)
    moves = fitter.sum_up(np.zeros(2), [np.zeros(40)], slopes)
    assert moves.log_evidence > stays.log_evidence
