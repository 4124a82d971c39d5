"""The 95 % interval of a chance from samples, against the printed table.

Source: L. D. Brown, T. T. Cai, A. DasGupta, "Interval estimation for a binomial proportion", Statistical Science 16
(2001) 101, table 5: 95 % limits of the Jeffreys prior interval for n = 7, printed with three decimals.
Checks: lower and upper limit for 1, 2 and 3 successes of 7. Tolerance: the last printed digit (0.0006).
"""

import pytest

from matchvision.forecast.bands import chance, chance_interval


@pytest.mark.parametrize(("count", "low", "high"), [(1, 0.016, 0.501), (2, 0.065, 0.648), (3, 0.139, 0.766)])
def test_jeffreys_interval_of_a_chance(count: int, low: float, high: float) -> None:
    assert chance_interval(chance(count, 7), 7) == pytest.approx((low, high), abs=6e-4)
