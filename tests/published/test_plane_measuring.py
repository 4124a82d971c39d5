"""Places measured back on a plane whose corners are known, through a published lens.

Source: Z. Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22 (2000) 1330, and the data
published with it (Model.txt, data1.txt to data5.txt; no licence stated, so read only where the material is at hand).
Values as printed: the lens a 832.5, b 832.53, u0 303.959, v0 206.585, k1 -0.228601, k2 0.190353.
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
from matchvision.table.fitting import fit_cameras, sheet_prior
from matchvision.table.guessing import first_cameras
from matchvision.table.noise import Sighting

FloatArray = npt.NDArray[np.float64]


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
