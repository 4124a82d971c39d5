"""Refits of the computed match to a measured one: most probable numbers, and how probable the run is under them."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.refits.erring import (
    MODEL_ERROR_CHANCES,
    MODEL_ERRORS,
    TOLD_APART,
    UNEXPLAINED_CHANCES,
    UNEXPLAINED_ERRORS,
    Loosened,
    Part,
    weigh_errors,
)
from matchvision.verdict.causes.refits.observing import Observed
from matchvision.verdict.causes.refits.sharing import at_each

#: From standard normal numbers (p,) to the computed series, in the order of the observed ones.
Predict = Callable[[FloatArray], Sequence[FloatArray]]

#: A refit ends where a round gains less than this in log probability.
ENOUGH: Final = 0.1
#: Steps smaller than this [standard deviations] change nothing that is told.
SETTLED: Final = 0.03
#: What may be gained along the slopes beyond where a refit ended, for the sizes of the model's error that it was not
#: aimed at (in nats): farther on the slopes are no longer those of the match.
UNSEEN_NATS: Final = 3.0
#: Two matches that differ by less than this (in nats, by a model that is off by `TOLD_APART`) are one.
LEAST_DIFFERENCE_NATS: Final = 1.0
#: Longest step of a refit in any number [standard deviations].
LONGEST_STEP: Final = 1.5
#: Step of the differences [standard deviations]: large against what the solver's tolerance leaves open of a match.
STEP: Final = 0.3


@dataclass(frozen=True, eq=False)
class Refit:
    """A refit at its most probable numbers.

    Attributes
    ----------
    z : most probable standard normal numbers (p,).
    covariance : theirs (p, p).
    log_evidence : log probability density of the measured run, all numbers integrated out.
    residual_rms : root mean square of the residuals over the series' scales.
    share : the likeliest size of the model's own error.
    loose_log_evidence : the same if something unexplained had been at work besides (NaN: not computed).
    slopes : of the computed series by the numbers, (k, p) each, where measured.
    computed : numbers that the match was computed with, of which ``z`` is a step along the slopes (None: ``z`` itself).
    """

    z: FloatArray
    covariance: FloatArray
    log_evidence: float
    residual_rms: float
    slopes: tuple[FloatArray, ...]
    loose_log_evidence: float = math.nan
    share: float = math.nan
    computed: FloatArray | None = None


class RunFitter:
    """The measured series with their covariances, against which any model can be refitted."""

    def __init__(
        self,
        observed: Observed,
        loosened: Loosened | None = None,
        shares: Sequence[float] = UNEXPLAINED_ERRORS,
        least: float = 0.0,
        *,
        apart: bool = False,
    ) -> None:
        """``loosened``: where the model cannot know what a hand did; ``shares``: sizes of its error to be ready for.

        ``least``: the size that stands for all smaller ones, of a model that cannot be as good as those.
        ``apart``: whether each series' errors are taken as its own.
        """
        self.observed = observed
        self.known = [np.flatnonzero(np.isfinite(s.values)) for s in observed.series]
        self.values = [s.values[k] for s, k in zip(observed.series, self.known, strict=True)]
        widths = [max(share, least) for share in shares]
        weights = weigh_errors(observed, self.known, sorted(set(widths)), loosened, apart=apart)
        of_width = dict(zip(sorted(set(widths)), weights, strict=True))
        self.weights = {share: of_width[width] for share, width in zip(shares, widths, strict=True)}

    def residuals(self, predicted: Sequence[FloatArray]) -> list[FloatArray]:
        """Measured less predicted, where measured; what a model cannot give counts as wholly wrong."""
        out = []
        for values, series, known, own in zip(
            self.values, self.observed.series, self.known, predicted, strict=True
        ):  # fmt: skip
            out.append(np.where(np.isfinite(own[known]), values - own[known], series.scale))
        return out

    def misfit(self, residuals: Sequence[FloatArray], share: float) -> float:
        """Half the sum of squares weighed by the inverse covariance."""
        return 0.5 * sum(float(r @ (part.inverse @ r)) for part, r in self._parts(residuals, share))

    def _parts(self, of_series: Sequence[FloatArray], share: float) -> Iterator[tuple[Part, FloatArray]]:
        """What there is of each series, put together by the parts whose errors go together."""
        for part in self.weights[share]:
            yield part, np.concatenate([of_series[i] for i in part.series])

    def differ(self, one: Sequence[FloatArray], other: Sequence[FloatArray]) -> bool:
        """Whether two computed runs can be told from each other at all."""
        between = [np.nan_to_num(b[known] - a[known]) for a, b, known in zip(one, other, self.known, strict=True)]
        return self.misfit(between, TOLD_APART) > LEAST_DIFFERENCE_NATS

    def log_densities(self, residuals: Sequence[FloatArray], share: float) -> FloatArray:
        """Log probability density of the residuals of each machine, and of the rope."""
        return np.array(
            [
                -0.5 * (float(r @ (part.inverse @ r)) + part.log_determinant + len(r) * math.log(2 * math.pi))
                for part, r in self._parts(residuals, share)
            ]
        )

    def normal_equations(
        self, residuals: Sequence[FloatArray], slopes: Sequence[FloatArray], share: float
    ) -> tuple[FloatArray, FloatArray]:
        """Gradient (p,) and curvature (p, p) of the misfit with the numbers' standard normal prior left out."""
        p = slopes[0].shape[1]
        gradient, curvature = np.zeros(p), np.zeros((p, p))
        for (part, r), (_, j) in zip(self._parts(residuals, share), self._parts(slopes, share), strict=True):
            solved = part.inverse @ j
            gradient += solved.T @ r
            curvature += j.T @ solved
        return gradient, curvature

    def slopes_of(
        self, predict: Predict, z: FloatArray, base: Sequence[FloatArray], which: Sequence[int]
    ) -> list[FloatArray]:
        """Differences of the computed series (k, len(which)) by the numbers ``which``."""
        places = [z + STEP * (np.arange(len(z)) == i) for i in which]
        columns = [[(a - b) / STEP for a, b in zip(ahead, base, strict=True)] for ahead in at_each(predict, places)]
        out = []
        for s, known in enumerate(self.known):
            stacked = [column[s][known] for column in columns]
            out.append(np.nan_to_num(np.stack(stacked, axis=1)) if stacked else np.zeros((len(known), 0)))
        return out

    def refit(
        self,
        predict: Predict,
        z0: FloatArray,
        *,
        slopes: Sequence[FloatArray] | None = None,
        rounds: int = 3,
        anew: int = 2,
        shares: Sequence[float] = MODEL_ERRORS,
        chances: Sequence[float] = MODEL_ERROR_CHANCES,
        precision: FloatArray | None = None,
    ) -> Refit:
        """Most probable numbers by Levenberg's damped least squares, and the evidence by Laplace's method.

        Parameters
        ----------
        predict : computed series from the numbers.
        z0 : where to start (p,).
        slopes : slopes by the first numbers to begin with, from a refit nearby; the others' are computed.
        rounds : how many steps to take at most before the slopes are computed anew.
        anew : how often they are, at most: 0 keeps what was learnt along the way.
        shares, chances : sizes of the model's own error and how likely each is.
        precision : of each number's normal prior (p,); 1 where not given.

        Notes
        -----
        With a standard normal prior on every number, p(D) ≈ (2π)^(−n/2) |C|^(−½) exp(−J) |I + JᵀC⁻¹J|^(−½) at the most
        probable z: D. J. C. MacKay, "Bayesian interpolation", Neural Computation 4 (1992) 415, section 4. The sizes of
        the model's error are summed over. Between computations the slopes follow each step by C. G. Broyden's update,
        Mathematics of Computation 19 (1965) 577: the least change that agrees with the step just taken.
        Checked by: tests/derived/test_refit_evidence.py::test_evidence_of_a_line_is_the_closed_form
        """
        z = np.array(z0, dtype=np.float64)
        prior = np.ones(len(z)) if precision is None else precision
        base = predict(z)
        along = self._complete(predict, z, base, slopes)
        for renewal in range(anew + 1):
            before = z
            likely = self.sum_up(z, base, along, shares=shares, chances=chances, precision=prior).share
            z, base, along = self._descend(predict, z, base, along, likely, rounds if renewal == 0 else 2, prior)
            if renewal == anew or (renewal > 0 and float(np.max(np.abs(z - before), initial=0.0)) < SETTLED):
                break
            along = self._complete(predict, z, base, None)
        told = self.sum_up(
            z, base, along, shares=shares, chances=chances, precision=prior, unseen=UNSEEN_NATS, loose=True
        )
        return replace(told, computed=z)

    def _descend(
        self,
        predict: Predict,
        z: FloatArray,
        base: Sequence[FloatArray],
        slopes: list[FloatArray],
        share: float,
        rounds: int,
        prior: FloatArray,
    ) -> tuple[FloatArray, Sequence[FloatArray], list[FloatArray]]:
        """Damped steps downhill: numbers, computed series and slopes where it ended."""
        residuals = self.residuals(base)
        cost, damping = self.misfit(residuals, share) + 0.5 * float(z @ (prior * z)), 0.0
        farthest = 4.0 / np.sqrt(prior)
        for _ in range(rounds):
            gradient, curvature = self.normal_equations(residuals, slopes, share)
            hessian = curvature + np.diag(prior)
            gained = 0.0
            for _ in range(3):
                step = np.linalg.solve(hessian + damping * np.diag(np.diag(hessian)), gradient - prior * z)
                if float(np.max(np.abs(np.clip(z + step, -farthest, farthest) - z), initial=0.0)) < SETTLED:
                    break
                trials = [
                    np.clip(z + each, -farthest, farthest) for each in steps_of(np.asarray(step, dtype=np.float64))
                ]
                aheads = [predict(trial) for trial in trials]
                costs = [
                    self.misfit(self.residuals(ahead), share) + 0.5 * float(trial @ (prior * trial))
                    for trial, ahead in zip(trials, aheads, strict=True)
                ]
                best = int(np.argmin(costs))
                trial, ahead, trial_cost = trials[best], aheads[best], costs[best]
                if trial_cost < cost:
                    left = self.residuals(ahead)
                    gained = cost - trial_cost
                    slopes = self._follow(slopes, trial - z, base, ahead)
                    z, base, residuals, cost = trial, ahead, left, trial_cost
                    damping = damping / 10 if damping > 0.02 else 0.0
                    break
                damping = max(0.1, 10 * damping)
            if gained < ENOUGH:
                break
        return z, base, slopes

    def _follow(
        self, slopes: list[FloatArray], step: FloatArray, base: Sequence[FloatArray], ahead: Sequence[FloatArray]
    ) -> list[FloatArray]:
        """Slopes after Broyden's update for one step."""
        return [
            own + np.outer(np.nan_to_num(after[known] - before[known]) - own @ step, step) / float(step @ step)
            for own, before, after, known in zip(slopes, base, ahead, self.known, strict=True)
        ]

    def _complete(
        self, predict: Predict, z: FloatArray, base: Sequence[FloatArray], slopes: Sequence[FloatArray] | None
    ) -> list[FloatArray]:
        kept = 0 if slopes is None else slopes[0].shape[1]
        if slopes is not None and kept == len(z):
            return list(slopes)
        own = self.slopes_of(predict, z, base, range(kept, len(z)))
        return own if slopes is None else [np.hstack([a, b]) for a, b in zip(slopes, own, strict=True)]

    def sum_up(
        self,
        z: FloatArray,
        predicted: Sequence[FloatArray],
        slopes: Sequence[FloatArray],
        *,
        shares: Sequence[float] = MODEL_ERRORS,
        chances: Sequence[float] = MODEL_ERROR_CHANCES,
        precision: FloatArray | None = None,
        unseen: float = math.inf,
        loose: bool = False,
    ) -> Refit:
        """Evidence and spread at z; each size of the model's error has its own best numbers on the linearised model.

        ``unseen``: how much (nats) those may gain at most over z itself, since nothing was computed there.
        ``loose``: the same of a misfit of any size as well.
        """
        residuals = self.residuals(predicted)
        prior = np.ones(len(z)) if precision is None else precision
        densities, places, spreads = [], [], []
        count = sum(len(r) for r in residuals)
        sizes = (*shares, *(other for other in UNEXPLAINED_ERRORS if loose and other not in shares))
        for share in sizes:
            gradient, curvature = self.normal_equations(residuals, slopes, share)
            hessian = curvature + np.diag(prior)
            downhill = gradient - prior * z
            whole = np.linalg.solve(hessian, downhill)
            cost = self.misfit(residuals, share) + 0.5 * float(z @ (prior * z))
            # Numbers that make up for each other must keep step, else the short step leads uphill.
            gained, step = max(
                (
                    (float(one @ downhill) - 0.5 * float(one @ hessian @ one), one)
                    for one in shortened(np.asarray(whole, dtype=np.float64), 1.0)
                ),
                key=lambda each: each[0],
            )
            if gained > unseen:
                step, gained = step * unseen / gained, unseen
            log_hessian = float(np.linalg.slogdet(hessian)[1]) - float(np.sum(np.log(prior)))
            log_determinant = sum(part.log_determinant for part in self.weights[share])
            log_norm = -0.5 * log_determinant - 0.5 * count * np.log(2 * np.pi)
            densities.append(float(log_norm - cost + gained - 0.5 * log_hessian))
            places.append(z + step)
            spreads.append(np.linalg.inv(hessian))
        logs = [math.log(chance) + density for chance, density in zip(chances, densities, strict=False)]
        top = max(logs)
        parts = np.exp(np.array(logs) - top)
        parts = parts / parts.sum()
        mean = sum((w * p for w, p in zip(parts, places, strict=False)), np.zeros(len(z)))
        covariance = sum(
            (w * (c + np.outer(p - mean, p - mean)) for w, p, c in zip(parts, places, spreads, strict=False)),
            np.zeros((len(z), len(z))),
        )
        rms = np.sqrt(
            np.mean(np.concatenate([r / s.scale for r, s in zip(residuals, self.observed.series, strict=True)]) ** 2)
        )
        likeliest = shares[int(np.argmax(logs))]
        evidence = float(top + np.log(np.sum(np.exp(np.array(logs) - top))))
        of_any_size = math.nan
        if loose:
            told = dict(zip(sizes, densities, strict=True))
            chance_of = zip(UNEXPLAINED_ERRORS, UNEXPLAINED_CHANCES, strict=True)
            of_any_size = log_sum([math.log(chance) + told[share] for share, chance in chance_of])
        return Refit(mean, covariance, evidence, float(rms), tuple(slopes), of_any_size, likeliest)


def steps_of(step: FloatArray) -> tuple[FloatArray, ...]:
    """A step of a refit, and where it is longer than `LONGEST_STEP` two shorter ones: see `shortened`."""
    return shortened(step, LONGEST_STEP)


def shortened(step: FloatArray, longest: float) -> tuple[FloatArray, ...]:
    """A step of which no number goes farther than ``longest``: each shortened for itself, and all as a whole.

    Numbers that make up for each other, a stated one that was stretched and the change that it stood in for, must keep
    step; one that has far to go must not hold back the others.
    """
    most = float(np.max(np.abs(step), initial=0.0))
    if most <= longest:
        return (step,)
    return np.clip(step, -longest, longest), step * (longest / most)


def log_sum(logs: Sequence[float]) -> float:
    """Logarithm of a sum of exponentials."""
    top = max(logs)
    return float(top + np.log(np.sum(np.exp(np.array(logs) - top))))
