"""Uncertainty of places measured on a plane.

Source: A. Criminisi, I. Reid, A. Zisserman, "A plane measuring device", British Machine Vision Conference 1997; Image
and Vision Computing 17 (1999): first-order propagation from pixels to a plane.
Checks: `place_with_uncertainty`.
Values: two independent points seen at 2 px/mm and located to 0.5 px are each known to 0.25 mm, and their distance to
0.3536 mm.
Tolerance: half a unit of the last digit.
How obtained: recomputed from the paper's formula; the attribution is from memory.

Also Z. Zhang's calibration plane: "A flexible new technique for camera calibration", IEEE PAMI 22 (2000) 1330, data
published with it (Model.txt, data1.txt to data5.txt; no licence stated, so read only where the material is at
hand), with its published lens a 832.5, b 832.53, u0 303.959, v0 206.585, k1 -0.228601, k2 0.190353.
Checks: `sheet_prior`, `first_cameras`, `fit_cameras`, `place_at_height`, with the lens given and the pose fitted.
Tolerance: 0.3 mm rms on the 170 mm plane and 0.5 px; the published residual is 0.3364 px rms, our camera has no skew
(0.2045 px in Zhang's), and one pixel spans about 0.4 mm there. The same places without the lens' distortion err by more
than that.
"""

import os
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import place_at_height
from matchvision.geometry.placing import place_with_uncertainty
from matchvision.table.fitting import fit_cameras, sheet_prior
from matchvision.table.guessing import first_cameras
from matchvision.table.noise import Sighting

FloatArray = npt.NDArray[np.float64]


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


@pytest.mark.parametrize("view", range(1, 6))
def test_calibration_plane_is_measured_back(view: int) -> None:
    material = os.environ.get("MATCHVISION_TEST_MATERIAL")
    if not material:
        pytest.skip("the plane's data are not here; MATCHVISION_TEST_MATERIAL names the folder that holds plane/")
    # Every third corner will do.
    inches = np.loadtxt(Path(material) / "plane" / "Model.txt").reshape(-1, 2)[::3]
    pixels = np.loadtxt(Path(material) / "plane" / f"data{view}.txt").reshape(-1, 2)[::3]
    points = np.column_stack([0.0254 * inches, np.zeros(len(inches))])
    lens = np.array([832.5, 832.53, 303.959, 206.585, -0.228601, 0.190353, 0, 0, 0, 0, 0, 0, 0, 0, 0])
    count = len(points)
    seen = Sighting(points, pixels, np.tile(np.eye(2), (count, 1, 1)), np.full(count, 0.35), np.zeros(count, bool))

    def rms_mm(parameters: FloatArray) -> float:
        prior = sheet_prior(parameters, np.zeros((15, 15)))
        start = first_cameras([seen], prior, 640)
        camera = fit_cameras([seen], start, prior).parameters[0]
        apart = place_at_height(camera, pixels, 0.0) - points
        return float(1e3 * np.sqrt(np.mean(np.sum(apart[:, :2] ** 2, axis=-1))))

    straight = lens.copy()
    straight[4:9] = 0
    assert rms_mm(lens) < 0.3
    assert rms_mm(straight) > 1.5 * rms_mm(lens)
