"""A few values over time, joined with an uncertainty that says how little is known between them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray

#: Levels of the driving noise that are weighed: decades about the one that the values' own spread suggests.
_DECADES: Final = np.linspace(-3.0, 3.0, 25)
#: Before the values speak, the level is taken to be right within a factor of ten (95 %): so many decades (k = 1).
_PRIOR_DECADES: Final = 0.5


@dataclass(frozen=True, eq=False)
class Joined:
    """Values (n,) at the times asked for and their rate, with standard uncertainties; NaN outside the given ones."""

    value: FloatArray
    u_value: FloatArray
    rate: FloatArray
    u_rate: FloatArray


def join_values(times_s: FloatArray, values: FloatArray, u_values: FloatArray, at_s: FloatArray) -> Joined:
    """Join values that were set at a few moments by the curve that is likeliest between them.

    Parameters
    ----------
    times_s, values, u_values : (k,) float arrays
        Growing times, k ≥ 1, values and their standard uncertainties > 0, independent of each other.
    at_s : (n,) float array
        Moments asked for. Before the first value and after the last nothing is said.

    Notes
    -----
    The rate is taken to wander: white noise of level q drives it (once integrated Wiener process; G. Wahba, J. Royal
    Statistical Society B 40 (1978) 364), value and rate at the beginning being free. Between two values the uncertainty
    grows as the 3/2 power of the time to the nearer one, and is widest in the middle. q is not known: between values a
    distance Δ apart in a time T the rate is as likely to change by about Δ/T as not, so that q is expected near
    (Δ/T)² / T within a factor of ten (95 %); what the values' curvature says of q is weighed in, and the result is the
    mixture over q with its whole variance.
    Checked by: tests/derived/test_joined_values.py::test_stated_uncertainty_holds_the_truth
    """
    times, y, u = (np.asarray(a, dtype=np.float64) for a in (times_s, values, u_values))
    at = np.asarray(at_s, dtype=np.float64)
    nothing = np.full(len(at), np.nan)
    if len(times) == 1:
        there = np.isclose(at, times[0], rtol=0, atol=1e-9)
        return Joined(np.where(there, y[0], np.nan), np.where(there, u[0], np.nan), nothing, nothing)
    since = times[0]
    expected = _expected_level(times, y, u)
    trend, at_trend = _trend(times - since), _trend(at - since)
    slope = np.stack([np.zeros(len(at)), np.ones(len(at))], axis=-1)
    unit, across = _covariance(times - since, times - since), _covariance(at - since, times - since)
    across_rate = _rate_covariance(at - since, times - since)
    own, own_rate = (at - since) ** 3 / 3, at - since
    log_weight, parts = [], []
    for decade in _DECADES:
        q = expected * 10.0**decade
        inverse = np.linalg.inv(q * unit + np.diag(u**2))
        information = trend.T @ inverse @ trend
        spread = np.linalg.inv(information)
        fitted = spread @ trend.T @ inverse @ y
        rest = y - trend @ fitted
        # Restricted likelihood: what is left of the values once the free beginning is taken out.
        determinants = np.linalg.slogdet(inverse)[1] - np.linalg.slogdet(information)[1]
        log_weight.append(0.5 * (determinants - rest @ inverse @ rest) - 0.5 * (decade / _PRIOR_DECADES) ** 2)
        for weights, level, base in ((q * across, q * own, at_trend), (q * across_rate, q * own_rate, slope)):
            gain = weights @ inverse
            mean = base @ fitted + gain @ rest
            free = base - gain @ trend
            variance = level - np.sum(gain * weights, axis=-1) + np.einsum("ni,ij,nj->n", free, spread, free)
            parts.append((mean, np.maximum(variance, 0.0)))
    weight = np.exp(np.array(log_weight) - max(log_weight))
    weight /= weight.sum()
    inside = (at >= times[0] - 1e-9) & (at <= times[-1] + 1e-9)
    value, u_value = _mix(weight, parts[0::2], inside)
    rate, u_rate = _mix(weight, parts[1::2], inside)
    return Joined(value, u_value, rate, u_rate)


def _mix(
    weight: FloatArray, parts: list[tuple[FloatArray, FloatArray]], inside: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of a mixture of normal distributions; NaN outside."""
    means, variances = (np.array([part[k] for part in parts]) for k in (0, 1))
    mean = weight @ means
    spread = np.sqrt(weight @ (variances + (means - mean) ** 2))
    return np.where(inside, mean, np.nan), np.where(inside, spread, np.nan)


def _expected_level(times: FloatArray, y: FloatArray, u: FloatArray) -> float:
    """Level of the driving noise that steps of this size suggest, at least what hides in the values' own noise.

    The mean square of the rate, less what the noise adds to it, over the mean step.
    """
    step, noise = np.diff(times), u[:-1] ** 2 + u[1:] ** 2
    whole = float(times[-1] - times[0])
    squared = float(np.sum(np.maximum(np.diff(y) ** 2 - noise, 0.0) / step)) / whole
    return (squared + float(np.mean(noise)) / whole**2) / float(np.mean(step))


def _trend(t: FloatArray) -> FloatArray:
    return np.stack([np.ones(len(t)), t], axis=-1)


def _covariance(at: FloatArray, times: FloatArray) -> FloatArray:
    """Of the twice integrated unit white noise at two sets of times: ∫ (s − x)₊ (t − x)₊ dx."""
    low, high = np.minimum(at[:, None], times), np.maximum(at[:, None], times)
    low = np.maximum(low, 0.0)
    return np.asarray(low**2 * (3 * high - low) / 6)


def _rate_covariance(at: FloatArray, times: FloatArray) -> FloatArray:
    """Of its rate at some times with its value at others: the derivative of `_covariance` by the first."""
    s, t = np.maximum(at[:, None], 0.0), times[None, :]
    return np.asarray(np.where(s <= t, s * t - s**2 / 2, t**2 / 2))
