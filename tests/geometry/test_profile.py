"""Height and slope of a table with a ridge."""

import numpy as np

from matchvision.geometry.profile import surface_height, surface_slope

RIDGE = ((-1.2, -0.9), (0.0, 0.0), (1.2, -0.5))


def test_flat_table_has_no_height() -> None:
    x = np.array([-1.0, 0.0, 0.4])
    np.testing.assert_array_equal(surface_height((), x), 0 * x)
    np.testing.assert_array_equal(surface_slope((), x), 0 * x)


def test_ridge_of_three_four_five_and_five_twelve_thirteen() -> None:
    np.testing.assert_allclose(surface_height(RIDGE, [-0.4, 0.0, 0.6]), [-0.3, 0.0, -0.25])
    np.testing.assert_allclose(surface_slope(RIDGE, [-0.4, 0.6, 2.0]), [0.75, -5 / 12, 0.0])


def test_order_of_the_points_does_not_matter() -> None:
    ramp = ((1.0, 0.75), (0.2, 0.15), (-1.0, 0.15))
    np.testing.assert_allclose(surface_height(ramp, [-1.0, 0.2, 0.6]), [0.15, 0.15, 0.45])
    np.testing.assert_allclose(surface_slope(ramp, [0.0, 0.6]), [0.0, 0.75])
