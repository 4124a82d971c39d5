"""A refit brought to its true minimum, and its evidence checked there by drawing from it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.refits.erring import MODEL_ERROR_CHANCES, MODEL_ERRORS
from matchvision.verdict.causes.refits.refitting import Predict, Refit, RunFitter, log_sum, steps_of
from matchvision.verdict.causes.refits.sharing import at_each

#: A refit has settled where a whole Gauss–Newton step with slopes computed anew gains less than this (in nats).
SETTLED_NATS: Final = 0.05
#: Steps of the differences follow each number's spread between these [standard deviations of its prior]: a secant over
#: many spreads is no slope, and one over next to nothing is the solver's tolerance.
LEAST_STEP, MOST_STEP = 0.03, 0.3
#: Draws to check an evidence by, and the draw's seed: a first guess 1.15 times as wide as Laplace's holds its tails.
DRAWS, SEED, WIDER = 48, 20_260_407, 1.15
#: Above this shape of the weights' tail a mean over so many draws does not settle down: 1 - 1 / log10(draws), at most
#: 0.7 (A. Vehtari et al., "Pareto smoothed importance sampling", Journal of Machine Learning Research 25 (2024) 72).
WORST_SHAPE: Final = min(0.7, 1.0 - 1.0 / math.log10(DRAWS))
#: What Laplace's evidence is good to where draws cannot confirm it (in nats).
HEAVY_NATS: Final = 1.0


@dataclass(frozen=True)
class Drawn:
    """Log evidence by importance sampling, its standard uncertainty (nats), and the shape of the weights' tail."""

    log_evidence: float
    u_log_evidence: float
    shape: float

    def agreed(self, otherwise: float) -> tuple[float, float]:
        """The evidence and how well it is known (nats).

        Draws that do not settle down, or that miss much of what is there, come out too low: then Laplace's evidence
        stands, ``otherwise``, less sure.
        """
        if self.shape < WORST_SHAPE and self.log_evidence > otherwise - HEAVY_NATS:
            return self.log_evidence, self.u_log_evidence
        return otherwise, HEAVY_NATS


def log_density(fitter: RunFitter, residuals: Sequence[FloatArray]) -> tuple[float, FloatArray]:
    """Log probability density of residuals over all sizes of the model's error, and how likely each size is then."""
    logs = [
        math.log(chance) + float(np.sum(fitter.log_densities(residuals, share)))
        for share, chance in zip(MODEL_ERRORS, MODEL_ERROR_CHANCES, strict=True)
    ]
    total = log_sum(logs)
    return total, np.exp(np.array(logs) - total)


def settle(
    fitter: RunFitter, predict: Predict, fit: Refit, precision: FloatArray | None = None, rounds: int = 10
) -> Refit:
    """Gauss–Newton steps from a refit, all slopes computed anew at each, until one more gains next to nothing.

    What counts is the probability over all sizes of the model's error together, so that the place does not hang on
    which of them seemed likely before.

    Notes
    -----
    Checked by: tests/derived/test_settling.py::test_curved_model_settles_where_a_general_minimiser_does
    """
    prior = np.ones(len(fit.z)) if precision is None else precision
    farthest = 4.0 / np.sqrt(prior)
    z = np.clip(fit.z, -farthest, farthest)
    base = predict(z)
    residuals = fitter.residuals(base)
    density, shares = log_density(fitter, residuals)
    cost, damping = 0.5 * float(z @ (prior * z)) - density, 0.0
    spreads = np.sqrt(np.diag(fit.covariance))
    slopes: list[FloatArray] = []
    for _ in range(rounds):
        slopes = _slopes(fitter, predict, z, base, np.clip(spreads, LEAST_STEP, MOST_STEP))
        gradient, curvature = np.zeros(len(z)), np.zeros((len(z), len(z)))
        for share, weight in zip(MODEL_ERRORS, shares, strict=True):
            if weight > 1e-3:
                g, c = fitter.normal_equations(residuals, slopes, share)
                gradient, curvature = gradient + weight * g, curvature + weight * c
        hessian, downhill = curvature + np.diag(prior), gradient - prior * z
        spreads = np.sqrt(np.diag(np.linalg.inv(hessian)))
        gained = 0.0
        for _ in range(4):
            step = np.linalg.solve(hessian + damping * np.diag(np.diag(hessian)), downhill)
            if float(step @ downhill) < SETTLED_NATS:
                break
            tried = []
            for each in steps_of(np.asarray(step, dtype=np.float64)):
                trial = np.clip(z + each, -farthest, farthest)
                ahead = predict(trial)
                left = fitter.residuals(ahead)
                density, likely = log_density(fitter, left)
                tried.append((0.5 * float(trial @ (prior * trial)) - density, trial, ahead, left, likely))
            best = min(tried, key=lambda one: one[0])
            if best[0] < cost:
                gained = cost - best[0]
                cost, z, base, residuals, shares = best
                damping = damping / 10 if damping > 0.02 else 0.0
                break
            damping = max(0.1, 10 * damping)
        if gained < SETTLED_NATS:
            break
    else:
        slopes = _slopes(fitter, predict, z, base, np.clip(spreads, LEAST_STEP, MOST_STEP))
    told = fitter.sum_up(z, base, slopes, precision=prior, unseen=SETTLED_NATS, loose=True)
    # A jump may lie within the least step from what was computed.
    return replace(told, z=z)


def draw(
    fitter: RunFitter,
    predict: Predict,
    centre: FloatArray,
    covariance: FloatArray,
    precision: FloatArray | None = None,
    draws: int = DRAWS,
    more: Callable[[FloatArray], float] = lambda _: 0.0,
) -> Drawn:
    """Evidence by draws from the normal distribution about a refit, each weighed by how likely it truly is.

    ``more`` is added to the log prior of each draw, -inf where it is out of the question.

    Notes
    -----
    The largest weights are replaced by the expected ones of a Pareto tail fitted to them.
    Checked by: tests/derived/test_settling.py::test_drawn_evidence_of_a_line_is_the_closed_form
    """
    p = len(centre)
    prior = np.ones(p) if precision is None else precision
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 1e-12)) * WIDER
    half = np.random.default_rng(SEED).standard_normal(((draws + 1) // 2, p))
    normal = np.concatenate([half, -half])[:draws]
    log_root = float(np.sum(np.log(np.sqrt(np.maximum(values, 1e-12)) * WIDER)))
    places = [centre + root @ one for one in normal]
    gains = [more(z) for z in places]
    possible = [i for i, gain in enumerate(gains) if gain > -math.inf]
    logs = np.full(draws, -math.inf)
    for i, computed in zip(possible, at_each(predict, [places[i] for i in possible]), strict=True):
        z, one, added = places[i], normal[i], gains[i]
        density, _ = log_density(fitter, fitter.residuals(computed))
        log_prior = 0.5 * float(np.sum(np.log(prior))) - 0.5 * float(z @ (prior * z))
        logs[i] = density + log_prior + added + 0.5 * float(one @ one) + log_root
    if not np.any(np.isfinite(logs)):
        return Drawn(-math.inf, 0.0, math.inf)
    smooth, shape = smooth_tail(logs)
    total = log_sum(list(smooth)) - math.log(draws)
    ratios = np.exp(smooth - total)
    return Drawn(total, float(np.std(ratios)) / math.sqrt(draws), shape)


def smooth_tail(logs: FloatArray) -> tuple[FloatArray, float]:
    """Log weights with the largest replaced by a Pareto tail's expected ones, and the tail's shape.

    Notes
    -----
    A fifth of the weights is the tail (Vehtari et al., section 2); its shape by J. Zhang and M. A. Stephens, "A new and
    efficient estimation method for the generalized Pareto distribution", Technometrics 51 (2009) 316.
    Checked by: tests/derived/test_settling.py::test_shape_of_a_pareto_tail
    """
    count = len(logs)
    tail = math.ceil(min(0.2 * count, 3 * math.sqrt(count)))
    if tail < 5:
        return logs, math.inf
    order = np.argsort(logs)
    scaled = np.exp(logs - logs.max())
    cut = float(scaled[order[-tail - 1]])
    over = scaled[order[-tail:]] - cut
    if over[-1] <= 1e-12 or over[0] <= 0.0:
        return logs, -math.inf
    shape, scale = fit_pareto(over)
    at = (np.arange(tail) + 0.5) / tail
    quantiles = -scale * np.log1p(-at) if abs(shape) < 1e-9 else scale * np.expm1(-shape * np.log1p(-at)) / shape
    smooth = logs.copy()
    smooth[order[-tail:]] = np.minimum(np.log(cut + quantiles), 0.0) + logs.max()
    return smooth, shape


def fit_pareto(over: FloatArray) -> tuple[float, float]:
    """Shape and scale of a generalised Pareto distribution from sorted excesses, the shape drawn a little to 0.5."""
    n = len(over)
    grid = 30 + int(math.sqrt(n))
    quarter = float(over[int(n / 4 + 0.5) - 1])
    theta = 1 / over[-1] + (1 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))) / (3 * quarter)
    shapes = np.mean(np.log1p(-theta[:, None] * over[None, :]), axis=1)
    logs = n * (np.log(-theta / shapes) - shapes - 1)
    weights = np.exp(logs - logs.max())
    mean = float(weights @ theta / weights.sum())
    shape = float(np.mean(np.log1p(-mean * over)))
    return (n * shape + 10 * 0.5) / (n + 10), -shape / mean


def known_better(
    centre: FloatArray, covariance: FloatArray, number: int, mean: float, spread: float
) -> tuple[FloatArray, FloatArray]:
    """A normal distribution after one of its numbers is known to have another mean and spread; others follow along."""
    variance = max(float(covariance[number, number]), 1e-12)
    along = covariance[:, number] / variance
    moved = centre + along * (mean - float(centre[number]))
    return moved, covariance + np.outer(along, along) * (spread**2 - variance)


def _slopes(
    fitter: RunFitter, predict: Predict, z: FloatArray, base: Sequence[FloatArray], steps: FloatArray
) -> list[FloatArray]:
    places = []
    for i, size in enumerate(steps):
        ahead = z.copy()
        ahead[i] += size if z[i] <= 0 else -size
        places.append(ahead)
    columns: list[list[FloatArray]] = []
    for i, computed in enumerate(at_each(predict, places)):
        change = places[i][i] - z[i]
        columns.append([(a - b) / change for a, b in zip(computed, base, strict=True)])
    return [
        np.nan_to_num(np.stack([column[s][known] for column in columns], axis=1))
        for s, known in enumerate(fitter.known)
    ]
