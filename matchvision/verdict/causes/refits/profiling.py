"""One number of a refit, a size, a date or a place, walked along while all others follow: what it can be."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.interpolate import PchipInterpolator

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.refits.refitting import Predict, Refit, RunFitter

#: A walk ends where a value is this much less likely than the best one (in nats), or after so many steps a side.
FAR_NATS, STEPS = 5.0, 9
#: Where the first steps lose less than this, they are doubled; where they lose more than the other, halved.
FLAT_NATS, STEEP_NATS = 0.2, 2.0
#: What of a number lies beyond each end of its 95 % interval.
OUTSIDE: Final = 0.025
#: A value this much likelier than where the walk began is a better place to begin from.
BETTER_NATS: Final = 1.0


@dataclass(frozen=True, eq=False)
class Profile:
    """What one number can be.

    Attributes
    ----------
    values : of the number, fine and evenly spaced (k,).
    weights : how likely each is (k,), adding to 1.
    log_evidence : with the number and all others integrated out.
    best : the likeliest refit met on the way, the number among its ``z``; its slopes lack the number's column.
    gained : by how much it is likelier than where the walk began (nats).
    """

    values: FloatArray
    weights: FloatArray
    log_evidence: float
    best: Refit
    gained: float

    def moments(self, values: FloatArray) -> tuple[float, float]:
        """Mean and standard deviation of a function of the number, given at ``self.values``."""
        mean = float(self.weights @ values)
        return mean, float(np.sqrt(self.weights @ (values - mean) ** 2))

    def ends(self, values: FloatArray) -> tuple[float, float]:
        """Where 2.5 % of a rising function of the number, given at ``self.values``, lies below and above."""
        below = np.cumsum(self.weights) - 0.5 * self.weights
        return float(np.interp(OUTSIDE, below, values)), float(np.interp(1.0 - OUTSIDE, below, values))


def profile(
    fitter: RunFitter,
    predict: Predict,
    fit: Refit,
    number: int,
    *,
    prior: bool,
    limit: tuple[float, float],
    precision: FloatArray | None = None,
) -> Profile:
    """Walk number ``number`` of a refit both ways from its best, all others refitted at each step.

    The curvature at the best place, which Laplace's method stands on, says too little of a date: as it passes a jump
    the match changes by fits and starts. So the number is integrated out by quadrature, the others by Laplace's method
    at each of its values.

    Parameters
    ----------
    predict : computed series from all numbers.
    fit : refit with all numbers free.
    number : which is walked along.
    prior : whether it has the standard normal prior, else an even one.
    limit : lowest and highest value that it may have.
    precision : of each number's normal prior (p,), as for `RunFitter.refit`.

    Notes
    -----
    Checked by: tests/derived/test_refit_evidence.py::test_profile_of_a_line_is_the_closed_form
    """
    others = np.delete(np.arange(len(fit.z)), number)
    start = float(np.clip(fit.z[number], *limit))
    spread = float(np.sqrt(fit.covariance[number, number]))
    along = fit.covariance[others, number] / max(fit.covariance[number, number], 1e-12)
    slopes = [each[:, others] for each in fit.slopes]
    weights = np.ones(len(others)) if precision is None else precision[others]
    farthest = 4.0 / np.sqrt(weights)

    def at(value: float, near: tuple[float, Refit] | None) -> Refit:
        def predict_others(z: FloatArray) -> Sequence[FloatArray]:
            return predict(np.insert(z, number, value))

        begin, learnt = fit.z[others], slopes
        if near is not None:
            begin, learnt = near[1].z + along * (value - near[0]), list(near[1].slopes)
        begin = np.clip(begin, -farthest, farthest)
        return fitter.refit(predict_others, begin, slopes=learnt, rounds=3, anew=0, precision=weights)

    def log_of(value: float, told: Refit) -> float:
        return told.log_evidence - (0.5 * value**2 + 0.5 * float(np.log(2 * np.pi)) if prior else 0.0)

    found = {start: at(start, None)}
    reach = (limit[1] - limit[0]) / 2
    step = max(spread, 1e-3 * reach)
    for _ in range(4):
        for side in (-1.0, 1.0):
            value = float(np.clip(start + side * step, *limit))
            if value not in found:
                found[value] = at(value, (start, found[start]))
        lost = max(log_of(v, f) for v, f in found.items()) - min(log_of(v, f) for v, f in found.items())
        if lost < FLAT_NATS and step < reach:
            step *= 2
        elif lost > STEEP_NATS:
            step /= 2
        else:
            break
    for side in (-1.0, 1.0):
        for _ in range(STEPS):
            edge = (max if side > 0 else min)(found)
            value = float(np.clip(edge + side * step, *limit))
            if value in found or log_of(edge, found[edge]) < max(log_of(v, f) for v, f in found.items()) - FAR_NATS:
                break
            found[value] = at(value, (edge, found[edge]))
    met = np.array(sorted(found))
    logs = np.array([log_of(v, found[v]) for v in met])
    top = int(np.argmax(logs))
    best = found[float(met[top])]
    gained = float(logs[top]) - log_of(start, found[start])
    told = Refit(
        np.insert(best.z, number, met[top]), fit.covariance, best.log_evidence, best.residual_rms, best.slopes,
        best.loose_log_evidence,
    )  # fmt: skip
    if len(met) < 3:
        return Profile(met[[top]], np.ones(1), float(logs[top]), told, gained)
    fine = np.linspace(met[0], met[-1], 400)
    smooth = PchipInterpolator(met, logs - logs[top])(fine)
    density = np.exp(smooth)
    log_evidence = float(logs[top] + np.log(np.trapezoid(density, fine)))
    return Profile(fine, density / density.sum(), log_evidence, told, gained)
