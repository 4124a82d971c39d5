"""Scores of measured against predicted, and of stated chances against what happened."""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from matchvision.arrays import FloatArray

Numbers = float | FloatArray

#: Coverage factor of expanded uncertainties (95 %).
K_EXPANDED: Final = 2.0


def en_score(value: Numbers, expanded_u: Numbers, reference: Numbers, expanded_u_reference: Numbers) -> FloatArray:
    """E_n: difference over the expanded (k = 2) uncertainties' root sum of squares; up to 1 either way is satisfactory.

    Notes
    -----
    ``E_n = (x − X)/√(U_x² + U_X²)``: ISO 13528; ISO/IEC 17043.
    Checked by: tests/published/test_comparison_scores.py::test_en_score_as_printed
    """
    spread = np.sqrt(np.square(expanded_u) + np.square(expanded_u_reference))
    return np.asarray((np.asarray(value) - reference) / spread, dtype=np.float64)


def zeta_score(value: Numbers, u: Numbers, reference: Numbers, u_reference: Numbers) -> FloatArray:
    """Zeta: difference over the standard uncertainties' root sum of squares; up to 2 either way is satisfactory.

    Notes
    -----
    ``ζ = (x − X)/√(u_x² + u_X²)``: ISO 13528.
    Checked by: tests/published/test_comparison_scores.py::test_zeta_score_as_printed
    """
    spread = np.sqrt(np.square(u) + np.square(u_reference))
    return np.asarray((np.asarray(value) - reference) / spread, dtype=np.float64)


def validation_uncertainty(*u_parts: Numbers) -> FloatArray:
    """u_val: root sum of squares of the independent uncertainties behind a comparison error.

    Numerical, input and measurement uncertainty for a simulation; a comparison error below u_val cannot be told from
    them.

    Notes
    -----
    ``u_val = √(u_num² + u_input² + u_D²)``: ASME V&V 20-2009. No printed worked number was found: the check is derived.
    Checked by: tests/derived/test_scores_by_hand.py::test_validation_uncertainty
    """
    parts = np.broadcast_arrays(*(np.asarray(u, dtype=np.float64) for u in u_parts))
    return np.asarray(np.sqrt(np.sum(np.square(parts), axis=0)), dtype=np.float64)


def brier_score(chances: npt.ArrayLike, outcomes: npt.ArrayLike) -> float:
    """Mean squared distance of stated chances from what happened (1 or 0): 0 is best, 0.25 is a coin.

    Notes
    -----
    G. W. Brier, Monthly Weather Review 78 (1950) 1, in the form for two outcomes.
    Checked by: tests/published/test_comparison_scores.py::test_brier_and_crps_agree_with_a_reference_library
    """
    return float(np.mean(np.square(np.asarray(chances, dtype=np.float64) - np.asarray(outcomes, dtype=np.float64))))


def expected_brier(chance: float, happened: float) -> float:
    """Brier score of a stated chance where what happened is itself only known with a probability.

    Notes
    -----
    ``q (1 − p)² + (1 − q) p²``: `brier_score` where q is 1 or 0.
    Checked by: tests/derived/test_scores_by_hand.py::test_expected_brier_score
    """
    return happened * (1.0 - chance) ** 2 + (1.0 - happened) * chance**2


def crps_gaussian(mean: Numbers, sd: Numbers, observed: Numbers) -> FloatArray:
    """Continuous ranked probability score of a normal prediction: in the quantity's unit, 0 is best.

    Notes
    -----
    ``σ [z (2Φ(z) − 1) + 2φ(z) − 1/√π]``, z = (observed − mean)/σ: T. Gneiting, A. E. Raftery, J. Am. Stat. Assoc. 102
    (2007) 359, eq. 21 with the sign turned, so that less is better.
    Checked by: tests/published/test_comparison_scores.py::test_crps_of_a_normal_prediction
    """
    z = (np.asarray(observed, dtype=np.float64) - mean) / sd
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(sd * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / np.sqrt(np.pi)), dtype=np.float64)


def wilson_interval(count: float, of: int) -> tuple[float, float]:
    """95 % interval of a proportion from how often something happened among independent trials; (0, 1) without any.

    Notes
    -----
    ``(p̂ + z²/2n ± z √(p̂(1 − p̂)/n + z²/4n²)) / (1 + z²/n)``, z = 1.959964: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927)
    209.
    Checked by: tests/published/test_comparison_scores.py::test_wilson_interval
    """
    if of <= 0:
        return 0.0, 1.0
    z2 = 1.959964**2
    share = count / of
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    half = np.sqrt(z2) * np.sqrt(share * (1 - share) / of + z2 / (4 * of**2)) / (1 + z2 / of)
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))
