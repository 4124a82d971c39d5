"""Numbers from whole stretches of a run: means and fitted curves, with what their scatter says about them."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import CannotMeasure

#: Means are taken over blocks of so long: smoothed series forget within it what came before.
BLOCK_S: Final = 0.25
#: Fewer blocks than this say nothing about their own scatter.
FEWEST_BLOCKS: Final = 4
#: Errors of neighbouring frames may go together for so long; fitted curves allow for it.
MEMORY_S: Final = 0.15
#: Neighbouring residuals that go together more than this leave no fit to speak of.
LARGEST_CORRELATION: Final = 0.95


@dataclass(frozen=True)
class Mean:
    """A mean with its standard uncertainty from scatter (type A) and that uncertainty's degrees of freedom."""

    value: float
    u: float
    degrees: float
    blocks: int


def mean_over_blocks(values: FloatArray, u_own: FloatArray, real_s: FloatArray, weight: FloatArray) -> Mean:
    """Weighted mean of a series over the frames that have a weight, and how sure its scatter leaves it.

    Parameters
    ----------
    values, u_own : (n,) float arrays; the part of the uncertainty that is not common to all frames.
    real_s : (n,) float array [s]
    weight : (n,) float array, 0 where a frame does not count.

    Raises
    ------
    CannotMeasure
        Where nothing is known in the frames that count.

    Notes
    -----
    The scatter of means over blocks of `BLOCK_S` (JCGM 100:2008, 4.2.3), or what ``u_own`` says if that is larger,
    taken as wholly correlated within a block.
    """
    use = (weight > 0) & np.isfinite(values) & np.isfinite(u_own)
    if not use.any():
        raise CannotMeasure(
            "nothing is known in the part of the run that counts", do="film it with all markers in view"
        )
    block = np.floor((real_s - real_s[use][0]) / BLOCK_S).astype(np.int64)
    names = np.unique(block[use])
    sums = np.array([weight[use & (block == k)].sum() for k in names])
    means = np.array([np.average(values[use & (block == k)], weights=weight[use & (block == k)]) for k in names])
    own = np.array([np.average(u_own[use & (block == k)], weights=weight[use & (block == k)]) for k in names])
    share = sums / sums.sum()
    value = float(share @ means)
    formal = float(np.sqrt(np.sum((share * own) ** 2)))
    if len(names) < FEWEST_BLOCKS:
        return Mean(value, float(share @ own), math.inf, len(names))
    scatter = float(np.sqrt(np.sum(share**2 * (means - value) ** 2) * len(names) / (len(names) - 1)))
    return Mean(value, max(scatter, formal), len(names) - 1.0 if scatter > formal else math.inf, len(names))


def u_change_m_s2(u_speed_m_s: FloatArray, use: BoolArray, real_s: FloatArray) -> float:
    """Standard uncertainty of the mean acceleration over some frames: that of the speed at both ends, over their time.

    Errors of the acceleration in single frames cancel in between; its scatter shows in the means over blocks.
    """
    at = np.flatnonzero(use)
    ends = u_speed_m_s[[at[0], at[-1]]]
    return float(np.hypot(*ends) / max(float(real_s[at[-1]] - real_s[at[0]]), 1e-6))


@dataclass(frozen=True, eq=False)
class Curve:
    """Coefficients (k,) of a linear least-squares fit and their covariance (k, k) from the residuals."""

    coefficients: FloatArray
    covariance: FloatArray
    degrees: float

    def u(self, k: int) -> float:
        """Standard uncertainty of one coefficient."""
        return float(np.sqrt(self.covariance[k, k]))


def fit_curve(design: FloatArray, values: FloatArray, real_s: FloatArray) -> Curve:
    """Least-squares fit whose covariance allows for residuals that go together over some frames.

    Parameters
    ----------
    design : (n, k) float array, one column a coefficient; they change slowly beside the residuals' memory.
    values, real_s : (n,) float arrays.

    Notes
    -----
    The covariance for independent residuals, times the larger of two estimates of how much their going together costs:
    that of an error that fades, beside one that is new in every frame (`_cost_of_memory`); and
    ``(X^T X)⁻¹ S (X^T X)⁻¹``, ``S = Σ_l w_l Σ_t (x_t e_t x_{t+l} e_{t+l})``, weights falling
    linearly to 0 beyond `MEMORY_S` (W. K. Newey, K. D. West, Econometrica 55 (1987) 703). Never below 1.
    """
    bread = np.linalg.inv(design.T @ design)
    coefficients = bread @ (design.T @ values)
    left = values - design @ coefficients
    count, k = design.shape
    plain = bread * float(left @ left) / max(count - k, 1)
    lasting = _cost_of_memory(left, k)
    scores = design * left[:, None]
    lags = min(int(MEMORY_S / float(np.median(np.diff(real_s)))), count // 4)
    meat = scores.T @ scores
    for lag in range(1, lags + 1):
        cross = scores[lag:].T @ scores[:-lag]
        meat += (1 - lag / (lags + 1)) * (cross + cross.T)
    robust = np.diag(bread @ meat @ bread) * count / max(count - k, 1)
    larger = np.sqrt(np.maximum(robust / np.diag(plain), lasting))
    return Curve(coefficients, plain * np.outer(larger, larger), max(count / lasting - k, 3.0))


def _cost_of_memory(left: FloatArray, fitted: int) -> float:
    """Variance of a mean of residuals over that of independent ones, at least 1.

    Correlations ``ρ_l = A φ^l`` at lags 1 and 2, freed of their bias by the coefficients fitted, give
    ``1 + 2 A φ/(1 − φ)``.
    """
    count, whole = len(left), max(float(left @ left), 1e-300)
    first, second = (float(left[lag:] @ left[:-lag]) / whole for lag in (1, 2))
    first, second = (r + (1 + (fitted + 1) * max(r, 0.0)) / count for r in (first, second))
    if first <= 0:
        return 1.0
    fading = min(max(second / first, first, 0.0), LARGEST_CORRELATION)
    return 1 + 2 * first / (1 - fading)


def longest_run(wanted: BoolArray, real_s: FloatArray) -> BoolArray:
    """The longest unbroken stretch in which something holds; nothing where it never does."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], wanted, [False]]).astype(int)))
    kept = np.zeros(len(wanted), dtype=np.bool_)
    if len(edges):
        starts, stops = edges[::2], edges[1::2]
        best = int(np.argmax(real_s[stops - 1] - real_s[starts]))
        kept[starts[best] : stops[best]] = True
    return kept
