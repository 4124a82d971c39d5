"""Slip two ways, by the definitions: what rolls, what slips a little, what spins on the spot, what stands.

Travel reduction as defined in ASABE S296, longitudinal slip as in ISO 8855 / SAE J670, both as quoted by D. M. Queiroz
and J. K. Schueller, "Traction", in Introduction to Biosystems Engineering (2020),
doi 10.21061/IntroBiosystemsEngineering/Traction. The values are computed from these definitions to the digits given.
"""

import numpy as np
import pytest

from matchvision.mechanics.traction import (
    longitudinal_slip_from_travel_reduction,
    travel_reduction,
)


def test_travel_reduction() -> None:
    assert travel_reduction(0.45, 0.50) == pytest.approx(0.1000, abs=5e-5)
    assert travel_reduction(49.5 - 9.0, 49.5) == pytest.approx(0.1818, abs=5e-5)
    assert travel_reduction(0.0, 0.3) == 1.0
    assert np.isnan(travel_reduction(0.1, 0.0))


def test_longitudinal_slip() -> None:
    assert longitudinal_slip_from_travel_reduction(travel_reduction(0.45, 0.50)) == pytest.approx(0.1111, abs=5e-5)
    kappa = longitudinal_slip_from_travel_reduction(np.array([0.3, 0.5, 0.9]))
    np.testing.assert_allclose(kappa, [0.42857, 1.0, 9.0], atol=5e-6)
    assert np.isinf(longitudinal_slip_from_travel_reduction(1.0))
