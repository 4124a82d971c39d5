"""Scores of measured against predicted.

Sources and values
- E_n as printed: National Institute of Standards and Technology, Statistical Engineering Division, reference manual of
  its program, page "ISO 13528 EN SCORE" (itl.nist.gov/div898/software/dataplot/refman2/auxillar/enscore.htm): the
  gear diameters of the NIST/SEMATECH e-Handbook, ten batches of ten; X = 1, U_ref twice the standard deviation of all
  100, U_lab (printed 0.009) twice that of the batch. First batch, the values that were read there: 1.006 gives 0.393,
  0.996 gives -0.262, 0.998 gives -0.131, 1.000 gives 0.000. The 100 diameters as in scipy's own tests (g1 to g10 of
  scipy/stats/tests/test_morestats.py). The standard and the accreditors' guides themselves were not at hand.
- Zeta as printed: the same manual, page "ISO 13528 ZETA SCORE" (refman2/auxillar/zetascor.htm), the same diameters;
  X = 1, u_ref the standard deviation of all 100, u_lab that of the batch. First batch: 1.006 gives 0.785, 0.996 gives
  -0.523, 0.998 gives -0.261, 1.000 gives 0.000, 0.992 gives -1.047, digits cut off, not rounded.
- Brier score: G. W. Brier 1950, two outcomes, as printed in an encyclopedia ("Brier score", en-academic.com, after
  J. S. Armstrong, Principles of Forecasting): rain that came, forecast with 100 %, 70 %, 50 %, 30 %, scores 0, 0.09,
  0.25, 0.49; a sure forecast of none scores 1.
- CRPS of a normal prediction: T. Gneiting, A. E. Raftery, J. Am. Stat. Assoc. 102 (2007) 359; z 0, 0.5, 1, 2, 3 give
  0.2336950, 0.3314035, 0.6024414, 1.4527918, 2.4365747, recomputed from the printed form.
- Reference library scoringrules (F. Zanetta, S. Allen, 2024), an implementation of its own: Brier score and CRPS of
  normal predictions, over drawn chances and predictions.
- Wilson interval: R. G. Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3, 95 % limits: 81 of 263 gives
  0.2553 to 0.3662, 15 of 148 gives 0.0624 to 0.1605, 0 of 20 gives 0.0000 to 0.1611, 1 of 29 gives 0.0061 to 0.1718.

Checks: `en_score`, `zeta_score`, `brier_score`, `crps_gaussian`, `wilson_interval`.
Tolerance: half a unit of the last digit given, a whole one where digits were cut off; against the library 1e-12.
"""

import numpy as np
import pytest
import scoringrules  # type: ignore[import-untyped]

from matchvision.uncertainty.scoring import (
    brier_score,
    crps_gaussian,
    en_score,
    wilson_interval,
    zeta_score,
)

#: Gear diameters in thousandths beyond 0.9, a batch a row.
GEARS = np.array([
    [106, 96, 98, 100, 92, 93, 102, 99, 94, 100], [98, 106, 100, 102, 97, 98, 96, 100, 106, 88],
    [91, 87, 97, 99, 95, 94, 100, 99, 96, 96], [105, 102, 94, 100, 95, 94, 98, 96, 102, 96],
    [98, 98, 82, 90, 102, 84, 96, 93, 80, 96], [109, 113, 109, 97, 88, 102, 95, 98, 81, 96],
    [90, 104, 96, 101, 98, 100, 118, 110, 96, 102], [98, 100, 106, 100, 102, 96, 98, 96, 102, 106],
    [102, 98, 96, 95, 96, 104, 104, 98, 99, 91], [91, 95, 84, 94, 97, 97, 91, 98, 104, 97],
])  # fmt: skip


def test_en_score_as_printed() -> None:
    diameter = 0.9 + 1e-3 * GEARS
    reference, lab = 2 * float(np.std(diameter, ddof=1)), 2 * float(np.std(diameter[0], ddof=1))
    assert lab == pytest.approx(0.009, abs=5e-4)
    printed = {1.006: 0.393, 0.996: -0.262, 0.998: -0.131, 1.000: 0.000}
    for value, score in printed.items():
        assert float(en_score(value, lab, 1.0, reference)) == pytest.approx(score, abs=5e-4)


def test_zeta_score_as_printed() -> None:
    diameter = 0.9 + 1e-3 * GEARS
    reference, lab = float(np.std(diameter, ddof=1)), float(np.std(diameter[0], ddof=1))
    printed = {1.006: 0.785, 0.996: -0.523, 0.998: -0.261, 1.000: 0.000, 0.992: -1.047}
    for value, score in printed.items():
        assert float(zeta_score(value, lab, 1.0, reference)) == pytest.approx(score, abs=1e-3)


@pytest.mark.parametrize(
    ("z", "score"), [(0, 0.2336950), (0.5, 0.3314035), (1, 0.6024414), (2, 1.4527918), (3, 2.4365747)]
)
def test_crps_of_a_normal_prediction(z: float, score: float) -> None:
    assert float(crps_gaussian(0.0, 1.0, z)) == pytest.approx(score, abs=5e-8)
    assert float(crps_gaussian(5.0, 2.0, 5.0 - 2 * z)) == pytest.approx(2 * score, abs=1e-7)


@pytest.mark.parametrize(("chance", "score"), [(1.0, 0.0), (0.7, 0.09), (0.5, 0.25), (0.3, 0.49), (0.0, 1.0)])
def test_brier_score_of_rain_that_came(chance: float, score: float) -> None:
    assert brier_score([chance], [1.0]) == pytest.approx(score, abs=5e-3)


def test_brier_and_crps_agree_with_a_reference_library() -> None:
    generator = np.random.default_rng(20)
    chances, outcomes = generator.uniform(size=200), generator.integers(0, 2, size=200)
    theirs = np.mean([scoringrules.brier_score(int(o), float(c)) for c, o in zip(chances, outcomes, strict=True)])
    assert brier_score(chances, outcomes) == pytest.approx(float(theirs), abs=1e-12)
    mean, sd, seen = generator.normal(size=200), generator.uniform(0.1, 3.0, size=200), generator.normal(size=200)
    crps = scoringrules.crps_normal(seen, mean, sd)
    np.testing.assert_allclose(crps_gaussian(mean, sd, seen), crps, atol=1e-12)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_interval(count: int, of: int, low: float, high: float) -> None:
    assert wilson_interval(count, of) == pytest.approx((low, high), abs=5.1e-5)
