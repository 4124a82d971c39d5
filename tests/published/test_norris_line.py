"""A straight line with certified coefficients.

Source: NIST StRD, linear regression, data set Norris (36 observations), as shipped with scipy
(scipy/stats/tests/data/nist_linregress/Norris.dat).
Checks: `fit_line`.
Values as printed: B0 −0.262323073774029 (0.232818234301152), B1 1.00211681802045 (0.000429796848199937), residual
standard deviation 0.884796396144373.
Tolerance: relative 1e-9, since double precision on data of this spread leaves about 1e-12.
How obtained: read from the file; skipped where the installed scipy comes without its test data.
"""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from matchvision.uncertainty import fit_line


def test_norris() -> None:
    path = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"
    if not path.exists():
        pytest.skip("this scipy was installed without its test data")
    rows = [line.split() for line in path.read_text().splitlines()[60:] if len(line.split()) == 2]
    y, x = np.array(rows, dtype=float).T
    assert len(x) == 36
    fit = fit_line(x, y)
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert fit.u_intercept == pytest.approx(0.232818234301152, rel=1e-9)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-9)
    assert fit.u_slope == pytest.approx(0.000429796848199937, rel=1e-9)
    assert fit.s == pytest.approx(0.884796396144373, rel=1e-9)
