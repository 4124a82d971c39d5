"""The 95 % interval of a chance from samples, against the printed table.

Source: L. D. Brown, T. T. Cai, A. DasGupta, "Interval estimation for a binomial proportion", Statistical Science 16
(2001) 101, table 5: 95 % limits of the Jeffreys prior interval, printed with three decimals.
Checks: `chance`, `chance_interval`, for counts that are neither none nor all; there the paper sets one limit to 0 or 1,
which a chance that is never quite 0 or 1 does not.
Values as printed: beside the test.
Tolerance: the last printed digit (0.0006).
How obtained: those of 3 in 7 and of n from 12 read where the tests of a public statistics library quote the table; the
other two from memory. All recomputed as quantiles of Beta(x + 1/2, n - x + 1/2).
"""

import pytest

from matchvision.forecast.bands import chance, chance_interval


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (1, 7, 0.016, 0.501),
        (2, 7, 0.065, 0.648),
        (3, 7, 0.139, 0.766),
        (3, 12, 0.076, 0.529),
        (2, 14, 0.031, 0.385),
        (5, 18, 0.115, 0.506),
        (15, 30, 0.328, 0.672),
    ],
)
def test_jeffreys_interval_of_a_chance(count: int, of: int, low: float, high: float) -> None:
    assert chance_interval(chance(count, of), of) == pytest.approx((low, high), abs=6e-4)
