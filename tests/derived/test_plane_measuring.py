"""Uncertainty of places measured on a plane, where it can be told by hand.

A camera looks straight down and shows 2 px a millimetre: two points located to 0.5 px are each known to 0.25 mm, and
their distance to √2 times that. First-order propagation from pixels to a plane as in A. Criminisi, I. Reid,
A. Zisserman, "A plane measuring device", Image and Vision Computing 17 (1999) (from memory).
"""

import numpy as np
import pytest

from matchvision.geometry.placing import place_with_uncertainty


def test_two_points_and_their_distance() -> None:
    # A camera 0.5 m above the plane, looking straight down, that shows 2 px a millimetre.
    camera = np.array([1000.0, 1000, 640, 360, 0, 0, 0, 0, 0, np.pi, 0, 0, 0, 0, 0.5])
    pixels = np.array([[[540.0, 360.0], [740.0, 360.0]]])
    placed = place_with_uncertainty(
        camera, np.zeros((15, 15)), pixels, np.full((1, 2, 2), 0.5), np.zeros((1, 2)), np.zeros((1, 2))
    )
    u_mm = 1e3 * np.sqrt(np.diagonal(placed.cov_own[0], axis1=-2, axis2=-1))
    np.testing.assert_allclose(u_mm, 0.25, atol=0.005)
    assert abs(placed.x_m[0, 1] - placed.x_m[0, 0]) == pytest.approx(0.1, abs=1e-9)
    u_distance_mm = 1e3 * np.sqrt(placed.cov_own[0, 0, 0, 0] + placed.cov_own[0, 1, 0, 0])
    assert u_distance_mm == pytest.approx(0.3536, abs=0.00005)
