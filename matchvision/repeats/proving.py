"""How many runs prove a rate."""

import math


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
