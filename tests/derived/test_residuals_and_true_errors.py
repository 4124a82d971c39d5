"""What residuals say about the true error, and what they hide.

A camera with eight free numbers (pose and two focal lengths), as many as a homography of the plane has, is fitted to n
points located to σ an axis. Counting degrees of freedom: of the 2n numbers eight are fitted, so residuals have an rms
of σ √(1 − 4/n) and the fitted points err by σ √(4/n) (as R. Hartley, A. Zisserman, "Multiple View Geometry in Computer
Vision", result 5.2, have it; from memory). Held to 7 %, about three standard errors of 150 draws; where nothing is
left, 0.001 px for the solver's end. That the fit is the best one is held in ``tests/published/test_plane_fit.py``.
"""

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import project_points
from matchvision.table.fitting import LensPrior, fit_cameras
from matchvision.table.noise import Sighting

FloatArray = npt.NDArray[np.float64]
#: From beside the table and rolled: a camera that is not rolled does not tell its two focal lengths apart.
CAMERA = np.array([985.0, 985, 640, 360, 0, 0, 0, 0, 0, 1.9364, 1.1872, -0.0528, 0, 0, 3.0])
SIGMA_PX = 0.5
PLACES = [
    (-1, 0.45),
    (1, 0.45),
    (1, -0.45),
    (-1, -0.45),
    (0, 0.45),
    (0, -0.45),
    (-0.5, 0),
    (0.5, 0.1),
    (0, 0),
    (0.8, 0),
]


def free_focal_lengths() -> LensPrior:
    """Both focal lengths free, everything else known."""
    whitening = np.diag([1e-4, 1e-4, 1e4, 1e4, 1e6, 1e6, 1e6, 1e6, 1e6])
    return LensPrior(CAMERA[:9].copy(), whitening, log_focal=False)


@pytest.mark.parametrize("n", [4, 10])
def test_residual_and_true_error(n: int) -> None:
    rng = np.random.default_rng(n)
    points = np.array([[x, y, 0.0] for x, y in PLACES[:n]])
    truth = project_points(CAMERA, points)
    residuals, errors = [], []
    for _ in range(150):
        pixels = truth + SIGMA_PX * rng.normal(size=truth.shape)
        clicks = Sighting(points, pixels, np.tile(np.eye(2), (n, 1, 1)), np.full(n, SIGMA_PX), np.zeros(n, dtype=bool))
        fit = fit_cameras([clicks], CAMERA[None], free_focal_lengths())
        residuals.append(fit.residuals[0])
        errors.append(project_points(fit.parameters[0], points) - truth)
    residual_px, error_px = (float(np.sqrt(np.mean(np.square(values)))) for values in (residuals, errors))
    assert error_px == pytest.approx(SIGMA_PX * np.sqrt(4 / n), rel=0.07)
    # Four points: no residual at all, while the fitted points are wrong by the whole of the click error.
    assert residual_px == pytest.approx(SIGMA_PX * np.sqrt(1 - 4 / n), rel=0.07, abs=0.001)
