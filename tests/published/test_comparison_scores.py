"""Scores of measured against predicted.

Sources and values
- E_n and zeta: ISO 13528, ISO/IEC 17043 (clauses from memory): x 12.4, U 0.8, X 11.5, U 0.6 (k = 2) give E_n 0.9000 and
  zeta 1.8000; recomputed from the definition.
- u_val = sqrt(u_num² + u_input² + u_D²): ASME V&V 20-2009 (form from memory): 0.25, 0.5, 0.3 give 0.63443, recomputed.
- Brier score: G. W. Brier 1950, two outcomes: chances 0.1, 0.9, 0.8, 0.3, outcomes 0, 1, 1, 0 give 0.0375, recomputed.
- CRPS of a normal prediction: T. Gneiting, A. E. Raftery, J. Am. Stat. Assoc. 102 (2007) 359; z 0, 0.5, 1, 2, 3 give
  0.2336950, 0.3314035, 0.6024414, 1.4527918, 2.4365747, recomputed from the printed form.

Checks: `en_score`, `zeta_score`, `validation_uncertainty`, `brier_score`, `crps_gaussian`.
Tolerance: half a unit of the last digit given.
"""

import numpy as np
import pytest

from matchvision.uncertainty.scoring import brier_score, crps_gaussian, en_score, validation_uncertainty, zeta_score
from matchvision.verdict.comparing import compare_quantity


def test_en_score() -> None:
    assert float(en_score(12.4, 0.8, 11.5, 0.6)) == pytest.approx(0.9, abs=5e-5)


def test_comparison_row_carries_the_same_en() -> None:
    row = compare_quantity("length", "m", (12.4, 0.4), (11.5, 0.3), 12.0)
    assert row.en == pytest.approx(0.9, abs=5e-5)
    assert row.within == "yes"


def test_zeta_score() -> None:
    assert float(zeta_score(12.4, 0.4, 11.5, 0.3)) == pytest.approx(1.8, abs=5e-5)


def test_validation_uncertainty() -> None:
    assert float(validation_uncertainty(0.25, 0.5, 0.3)) == pytest.approx(0.63443, abs=5e-6)


def test_brier_score() -> None:
    assert brier_score(np.array([0.1, 0.9, 0.8, 0.3]), np.array([0.0, 1.0, 1.0, 0.0])) == pytest.approx(
        0.0375, abs=5e-5
    )


@pytest.mark.parametrize(
    ("z", "score"), [(0, 0.2336950), (0.5, 0.3314035), (1, 0.6024414), (2, 1.4527918), (3, 2.4365747)]
)
def test_crps_of_a_normal_prediction(z: float, score: float) -> None:
    assert float(crps_gaussian(0.0, 1.0, z)) == pytest.approx(score, abs=5e-8)
    assert float(crps_gaussian(5.0, 2.0, 5.0 - 2 * z)) == pytest.approx(2 * score, abs=1e-7)
