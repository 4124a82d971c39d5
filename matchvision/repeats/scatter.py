"""How repeats scatter: repeatability, and what of it the runs' own uncertainties do not explain."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri

#: Probability outside each end of a 95 % interval.
_TAIL: Final = 0.025


@dataclass(frozen=True)
class Repeatability:
    """One-way analysis of groups of repeats.

    ``s_r`` is the scatter within a group, ``s_L`` that of the groups beyond it, ``s_R`` both together; ``degrees``
    those of s_r. s_L and s_R are NaN for a single group.
    """

    s_r: float
    s_L: float
    s_R: float
    degrees: int
    mean_square_between: float


def repeatability(groups: Sequence[Sequence[float]]) -> Repeatability:
    """Repeatability standard deviation within groups, and reproducibility over them, in the readings' unit.

    Groups may differ in size; a group of one adds nothing to s_r, which is NaN where no group has two readings.

    Notes
    -----
    ``s_r² = Σ(x − mean of its group)² / (N − p)``, ``s_L² = max(0, (MS between − s_r²)/n̄)`` with
    ``n̄ = (N − Σn²/N)/(p − 1)``, ``s_R² = s_r² + s_L²``: ISO 5725-2.
    Checked by: tests/published/test_repeats.py::test_resistivity_of_silicon
    """
    sizes = np.array([len(group) for group in groups], dtype=np.float64)
    total, count = float(sizes.sum()), len(groups)
    means = np.array([np.mean(group) for group in groups])
    within = sum(float(np.sum((np.asarray(g) - m) ** 2)) for g, m in zip(groups, means, strict=True))
    degrees = int(total) - count
    s_r2 = within / degrees if degrees > 0 else math.nan
    if count < 2:
        return Repeatability(math.sqrt(s_r2), math.nan, math.nan, degrees, math.nan)
    grand = float(np.sum(sizes * means) / total)
    between = float(np.sum(sizes * (means - grand) ** 2)) / (count - 1)
    typical = (total - float(np.sum(sizes**2)) / total) / (count - 1)
    s_L2 = max(0.0, (between - s_r2) / typical) if math.isfinite(s_r2) else math.nan
    return Repeatability(math.sqrt(s_r2), math.sqrt(s_L2), math.sqrt(s_r2 + s_L2), degrees, between)


def interval_of_s(s: float, degrees: int) -> tuple[float, float]:
    """95 % interval of a standard deviation of normal readings: s·√(ν/χ²)."""
    if degrees < 1 or not math.isfinite(s):
        return math.nan, math.nan
    high2, low2 = chdtri(degrees, _TAIL), chdtri(degrees, 1 - _TAIL)
    return s * math.sqrt(degrees / high2), s * math.sqrt(degrees / low2)


def scatter_between(values: Sequence[float], u: Sequence[float]) -> tuple[float, float, float, float]:
    """Scatter of runs beyond their own uncertainties, its 95 % interval, and the chance of so much if there is none.

    Parameters
    ----------
    values, u : readings and their standard uncertainties, at least two; errors that all runs share do not count here.

    Returns
    -------
    s_between, low, high, p_alike
        All NaN where fewer than two readings are given or an uncertainty is not known.

    Notes
    -----
    ``Q(τ²) = Σ(x − mean)²/(u² + τ²)`` with the mean weighted alike; τ² solves Q = n − 1 (R. C. Paule, J. Mandel, J.
    Res. Nat. Bur. Stand. 87 (1982) 377), its limits Q = χ² at 2.5 % and 97.5 % (W. Viechtbauer,
    Statist. Med. 26 (2007) 37).
    Checked by: tests/repeats/test_scatter.py::test_scatter_beyond_the_runs_own_is_found_back
    """
    x, own = np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)
    if len(x) < 2 or not (np.isfinite(own).all() and (own > 0).all()):
        return math.nan, math.nan, math.nan, math.nan
    degrees = len(x) - 1

    def q_of(tau2: float) -> float:
        weight = 1 / (own**2 + tau2)
        mean = float(np.sum(weight * x) / np.sum(weight))
        return float(np.sum(weight * (x - mean) ** 2))

    p_alike = float(chdtrc(degrees, q_of(0.0)))
    levels = (float(degrees), float(chdtri(degrees, _TAIL)), float(chdtri(degrees, 1 - _TAIL)))
    return (*(math.sqrt(_solve(q_of, level)) for level in levels), p_alike)  # type: ignore[return-value]


def _solve(q_of: Callable[[float], float], level: float) -> float:
    """τ² at which the falling Q reaches a level; 0 where it lies below it from the start."""
    if q_of(0.0) <= level:
        return 0.0
    high = 1e-12
    while q_of(high) > level:
        high *= 4.0
    return float(brentq(lambda tau2: q_of(tau2) - level, 0.0, high, xtol=1e-15, rtol=1e-10))
