"""Scores of a comparison by hand, from their definitions: E_n and zeta (ISO 13528), u_val (ASME V&V 20), Brier's."""

import pytest

from matchvision.uncertainty.scoring import brier_score, en_score, expected_brier, validation_uncertainty, zeta_score
from matchvision.verdict.comparing import compare_quantity


def test_en_score() -> None:
    """0.9 apart, with expanded uncertainties of 0.8 and 0.6: together 1."""
    assert float(en_score(12.4, 0.8, 11.5, 0.6)) == pytest.approx(0.9)


def test_comparison_row_carries_the_same_en() -> None:
    row = compare_quantity("length", "m", (12.4, 0.4), (11.5, 0.3), 12.0)
    assert row.en == pytest.approx(0.9)
    assert row.within == "yes"


def test_zeta_score() -> None:
    """The same with standard uncertainties, half as large."""
    assert float(zeta_score(12.4, 0.4, 11.5, 0.3)) == pytest.approx(1.8)


def test_validation_uncertainty() -> None:
    """0.0625 + 0.25 + 0.09 = 0.4025."""
    assert float(validation_uncertainty(0.25, 0.5, 0.3)) == pytest.approx(0.4025**0.5)


def test_brier_score() -> None:
    """(0.01 + 0.01 + 0.04 + 0.09) / 4."""
    assert brier_score([0.1, 0.9, 0.8, 0.3], [0.0, 1.0, 1.0, 0.0]) == pytest.approx(0.0375)


def test_expected_brier_score() -> None:
    """Three times in four it happened, once not: the mean of both scores."""
    assert expected_brier(0.9, 0.75) == pytest.approx(brier_score([0.9] * 4, [1.0, 1.0, 1.0, 0.0]))
    assert expected_brier(0.9, 1.0) == pytest.approx(0.01)
