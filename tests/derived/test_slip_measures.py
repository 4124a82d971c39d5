"""Slip by its definition: what rolls, what slips a little, what spins on the spot, what stands.

Travel reduction as defined in ASABE S296, as quoted by D. M. Queiroz and J. K. Schueller, "Traction", in Introduction
to Biosystems Engineering (2020), doi 10.21061/IntroBiosystemsEngineering/Traction. The values are computed from its
definition to the digits given.
"""

import numpy as np
import pytest

from matchvision.mechanics.traction import travel_reduction


def test_travel_reduction() -> None:
    assert travel_reduction(0.45, 0.50) == pytest.approx(0.1000, abs=5e-5)
    assert travel_reduction(49.5 - 9.0, 49.5) == pytest.approx(0.1818, abs=5e-5)
    assert travel_reduction(0.0, 0.3) == 1.0
    assert np.isnan(travel_reduction(0.1, 0.0))
