"""Runs that lie apart from their fellows."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.special import stdtr

from matchvision.records.repeats import Reading, Straggler

#: Levels of ISO 5725-2: a reading rarer than the first is called a straggler, rarer than the second an outlier.
STRAGGLER_P: Final = 0.05
OUTLIER_P: Final = 0.01


def grubbs_test(values: Sequence[float]) -> tuple[int, float, float]:
    """The reading farthest from the mean: its index, Grubbs' statistic, and its two-sided chance if all are alike.

    Fewer than three readings, or equal ones, give a chance of 1.

    Notes
    -----
    ``G = max|x − mean|/s``; ``t² = n(n − 2)G²/((n − 1)² − nG²)`` follows Student's t with n − 2 degrees, and
    ``p = min(1, 2n·P(T > t))``: F. E. Grubbs, Technometrics 11 (1969) 1.
    Checked by: tests/published/test_repeats.py::test_critical_values_of_an_outlier
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    s = float(np.std(x, ddof=1)) if n > 1 else 0.0
    if n < 3 or s <= 0:
        return 0, 0.0, 1.0
    at = int(np.argmax(np.abs(x - x.mean())))
    statistic = float(abs(x[at] - x.mean()) / s)
    rest = (n - 1) ** 2 - n * statistic**2
    t = math.sqrt(n * (n - 2) * statistic**2 / rest) if rest > 0 else math.inf
    return at, statistic, min(1.0, 2 * n * float(stdtr(n - 2, -t)))


def find_stragglers(readings: Sequence[Reading]) -> tuple[Straggler, ...]:
    """The runs that lie apart, one after the other, each tested without those found before it; nothing is left out.

    At most a third of the runs are looked at so, since of more it would be the question who strays.
    """
    rest, found = list(readings), []
    for _ in range(len(readings) // 3):
        at, statistic, p = grubbs_test([one.value for one in rest])
        if p >= STRAGGLER_P:
            break
        found.append(Straggler(rest.pop(at).run, statistic, p, "outlier" if p < OUTLIER_P else "straggler"))
    return tuple(found)
