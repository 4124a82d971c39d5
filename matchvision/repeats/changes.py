"""What lies between two groups of repeats, how surely, and what so many runs can show at all."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import betaincinv, nctdtr, stdtr, stdtrit

from matchvision.records.repeats import Change

#: A change counts as seen when its 95 % interval leaves out zero; it shall be in four cases of five.
LEVEL: Final = 0.95
POWER: Final = 0.8
#: Nobody makes more runs than this to see a change.
MOST_RUNS: Final = 100
_QUANTILES: Final = 64


def find_change(before: Sequence[float], after: Sequence[float]) -> Change | None:
    """Mean after less mean before with its 95 % interval; None unless both sides have two readings that differ.

    Notes
    -----
    ``t = Δ/√(s₁²/n₁ + s₂²/n₂)`` with the effective degrees of freedom of B. L. Welch, Biometrika 34 (1947) 28.
    ``chance_more`` is P(true Δ > 0) by the same t with flat priors: an approximation to the Behrens–Fisher posterior.
    Checked by: tests/published/test_repeats.py::test_hours_of_sleep
    """
    if min(len(before), len(after)) < 2:
        return None
    parts = [float(np.var(side, ddof=1)) / len(side) for side in (before, after)]
    variance = sum(parts)
    if variance <= 0:
        return None
    degrees = variance**2 / sum(p**2 / (len(s) - 1) for p, s in zip(parts, (before, after), strict=True))
    difference, se = float(np.mean(after) - np.mean(before)), math.sqrt(variance)
    t = difference / se
    half = float(stdtrit(degrees, 0.5 + LEVEL / 2)) * se
    return Change(
        difference=difference,
        low=difference - half,
        high=difference + half,
        t=t,
        degrees=degrees,
        p=2 * float(stdtr(degrees, -abs(t))),
        chance_more=float(stdtr(degrees, t)),
    )


def seen_change(s: float, runs: int) -> float:
    """The smallest true change that ``runs`` before and as many after show in four cases of five; NaN below two runs.

    Notes
    -----
    Power of Welch's test at 5 % with equal scatter and n on each side: t is noncentral with 2(n − 1) degrees and
    ``δ = Δ/(s√(2/n))``; its bound takes ``(n − 1)/(b² + (1 − b)²)`` degrees, where b, one side's share of both
    variances, follows Beta((n − 1)/2, (n − 1)/2) independently of t. The mean over b is taken at its quantiles.
    Checked by: tests/derived/test_power.py::test_the_smallest_change_is_seen_in_four_cases_of_five
    """
    if runs < 2 or not (math.isfinite(s) and s > 0):
        return math.nan
    share = betaincinv((runs - 1) / 2, (runs - 1) / 2, (np.arange(_QUANTILES) + 0.5) / _QUANTILES)
    bounds = stdtrit((runs - 1) / (share**2 + (1 - share) ** 2), 0.5 + LEVEL / 2)
    degrees = 2.0 * (runs - 1)

    def power(delta: float) -> float:
        # What lies beyond the bound on the other side is below 1 % where the power is of any use.
        return float(np.mean(1 - nctdtr(degrees, delta, bounds)))

    # At a shift of the largest bound and three more the power is above 90 % for any number of runs.
    delta = float(brentq(lambda d: power(d) - POWER, 0.1, float(np.max(bounds)) + 3))
    return delta * s * math.sqrt(2 / runs)


def runs_to_see(s: float, change: float) -> int:
    """Runs before, and as many after, that show a true change of this size in four cases of five; 0 where over 100."""
    if not (math.isfinite(s) and s > 0 and math.isfinite(change) and change > 0) or seen_change(s, MOST_RUNS) > change:
        return 0
    few, enough = 1, MOST_RUNS
    while enough - few > 1:
        middle = (few + enough) // 2
        few, enough = (few, middle) if seen_change(s, middle) <= change else (middle, enough)
    return enough
