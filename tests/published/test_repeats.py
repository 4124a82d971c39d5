"""Repeats: repeatability, outliers, a change between two groups.

Sources and values
- NIST Statistical Reference Datasets, one-way analysis of variance, SiRstv (J. Ehrstein, M. C. Croarkin; five
  instruments, five readings of silicon's resistivity each), as shipped with scipy: mean squares 1.27865654e-2 (4
  degrees) and 1.08318280e-2 (20), F 1.18046237440255, residual standard deviation 1.04076068334656e-1. From these by
  ISO 5725-2:
  s_r 0.104076, s_R 0.105938.
- F. E. Grubbs, Technometrics 11 (1969) 1; ISO 5725-2 table 5 (values from memory, recomputed): two-sided 5 % and 1 %,
  n 3: 1.155, 1.155; n 5: 1.715, 1.764; n 10: 2.290, 2.482; n 20: 2.709, 3.001.
- Student's sleep data as analysed in the R manual, `t.test(extra ~ group)`: t -1.8608, df 17.776, p 0.07939,
  95 % interval -3.3654832 to 0.2054832 (groups 1 - 2).

Checks: `repeatability`, `grubbs_test`, `find_change`.
Tolerance: half a unit of the last digit given, relative 1e-9 for the certified values; skipped where the installed
scipy comes without its test data. An outlier's level passes 5 % (1 %) within 0.002 of the printed critical value.
"""

import math
from importlib.resources import files

import numpy as np
import pytest

from matchvision.repeats import find_change, grubbs_test, repeatability

SLEEP_1 = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SLEEP_2 = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)


def test_resistivity_of_silicon() -> None:
    data = files("scipy") / "stats/tests/data/nist_anova/SiRstv.dat"
    if not data.is_file():
        pytest.skip("this scipy was installed without its test data")
    pairs = np.loadtxt(data.read_text().splitlines()[60:85])
    found = repeatability([pairs[pairs[:, 0] == group, 1].tolist() for group in range(1, 6)])
    assert found.degrees == 20
    assert found.mean_square_between == pytest.approx(1.27865654e-2, rel=1e-9)
    assert found.s_r == pytest.approx(1.04076068334656e-1, rel=1e-9)
    assert found.mean_square_between / found.s_r**2 == pytest.approx(1.18046237440255, rel=1e-9)
    assert found.s_R == pytest.approx(0.105938, abs=5e-7)


@pytest.mark.parametrize(
    ("n", "at_5", "at_1"), [(3, 1.155, 1.155), (5, 1.715, 1.764), (10, 2.290, 2.482), (20, 2.709, 3.001)]
)
def test_critical_values_of_an_outlier(n: int, at_5: float, at_1: float) -> None:
    for critical, level in ((at_5, 0.05), (at_1, 0.01)):
        for off, rarer in ((-0.002, False), (0.002, True)):
            wanted = critical + off
            if wanted >= (n - 1) / math.sqrt(n):  # three readings cannot lie farther apart than this
                continue
            assert (grubbs_test(_with_statistic(n, wanted))[2] < level) is rarer


def _with_statistic(n: int, statistic: float) -> list[float]:
    """Readings that alternate about zero but for the last, which lies so far out that its statistic is as wanted."""
    rest = [(-1.0) ** k for k in range(n - 1)]
    low, high = 0.5, 1e6
    for _ in range(200):
        middle = (low + high) / 2
        x = np.array([*rest, middle])
        found = (middle - x.mean()) / x.std(ddof=1)
        low, high = (middle, high) if found < statistic else (low, middle)
    return [*rest, low]


def test_hours_of_sleep() -> None:
    change = find_change(SLEEP_2, SLEEP_1)
    assert change is not None
    assert change.t == pytest.approx(-1.8608, abs=5e-5)
    assert change.degrees == pytest.approx(17.776, abs=5e-4)
    assert change.p == pytest.approx(0.07939, abs=5e-6)
    assert (change.low, change.high) == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)
