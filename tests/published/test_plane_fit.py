"""The fit of a plane's points against that of a reference library.

Source: OpenCV (package ``opencv-python``), ``findHomography`` by least squares (method 0): a linear start, then
Levenberg-Marquardt on the distances in the picture. It shares nothing with our fit, which knows a camera: its lens, a
pose, priors, noise that it learns.
Checks: `fit_cameras` with eight free numbers (pose and two focal lengths), as many as a homography has: then both seek
the same least sum of squares, and must place the fitted points alike.
Values: none are printed; both are computed here from the same drawn clicks.
Tolerance: 0.001 px, of a click error of 0.5 px; what our priors leave, tight instead of exact, is 0.00005 px. With more
than four points the clicks themselves lie farther off than 0.1 px, so the check can fail.
"""

import cv2
import numpy as np
import pytest

from matchvision.geometry.camera import project_points
from matchvision.table.fitting import fit_cameras
from matchvision.table.noise import Sighting
from tests.derived.test_residuals_and_true_errors import CAMERA, PLACES, SIGMA_PX, free_focal_lengths


@pytest.mark.parametrize("n", [4, 6, 10])
def test_fitted_points_lie_where_a_reference_library_has_them(n: int) -> None:
    rng = np.random.default_rng(100 + n)
    points = np.array([[x, y, 0.0] for x, y in PLACES[:n]])
    for _ in range(10):
        pixels = project_points(CAMERA, points) + SIGMA_PX * rng.normal(size=(n, 2))
        clicks = Sighting(points, pixels, np.tile(np.eye(2), (n, 1, 1)), np.full(n, SIGMA_PX), np.zeros(n, dtype=bool))
        ours = project_points(fit_cameras([clicks], CAMERA[None], free_focal_lengths()).parameters[0], points)
        homography, _ = cv2.findHomography(points[:, :2], pixels, 0)
        theirs = cv2.perspectiveTransform(points[None, :, :2], homography)[0]
        np.testing.assert_allclose(ours, theirs, atol=0.001)
        if n > 4:
            assert np.abs(pixels - theirs).max() > 0.1
