"""How often something goes well: intervals for k of n, and how many runs prove a rate."""

import math
from typing import Final

from scipy.special import ndtri

_Z_95: Final = float(ndtri(0.975))


def wilson_interval(good: int, runs: int) -> tuple[float, float]:
    """95 % interval of the true rate after ``good`` of ``runs`` went well; (0, 1) without runs.

    Notes
    -----
    ``(p + z²/2n ± z√(p(1 − p)/n + z²/4n²)) / (1 + z²/n)``: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209, without
    correction for continuity.
    Checked by: tests/published/test_repeats.py::test_intervals_of_proportions
    """
    if runs <= 0:
        return 0.0, 1.0
    p, z2 = good / runs, _Z_95**2
    middle = p + z2 / (2 * runs)
    half = _Z_95 * math.sqrt(p * (1 - p) / runs + z2 / (4 * runs**2))
    scale = 1 + z2 / runs
    return max(0.0, (middle - half) / scale), min(1.0, (middle + half) / scale)


def success_runs(reliability: float = 0.9, confidence: float = 0.9, failures: int = 0) -> int:
    """Runs in a row that show a reliability at a confidence, when ``failures`` of them may go wrong.

    Notes
    -----
    The smallest n at which so few failures or fewer have a chance of at most 1 − C, were the reliability R; without
    failures ``n = ln(1 − C)/ln R``.
    Checked by: tests/derived/test_power.py::test_runs_without_a_failure
    """
    runs = failures + 1
    while _at_most(failures, runs, 1 - reliability) > (1 - confidence) * (1 + 1e-12):
        runs += 1
    return runs


def _at_most(failures: int, runs: int, rate: float) -> float:
    return sum(math.comb(runs, k) * rate**k * (1 - rate) ** (runs - k) for k in range(failures + 1))
