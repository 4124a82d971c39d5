"""The tracker's own projection against the one that everything else uses."""

import numpy as np

from matchvision.geometry.camera import project_points
from matchvision.markers.projecting import project_markers


def test_markers_are_projected_as_points_are() -> None:
    rng = np.random.default_rng(3)
    for turn in (np.zeros(3), rng.normal(0, 1.2, 3)):
        camera = np.array([1400, 1390, 955, 548, 0.05, -0.02, 0.001, -0.002, 0.004, *turn, 0.1, -0.2, 2.0])
        points = rng.normal(0, 1.0, (40, 3))
        points[3] = np.nan
        found, wanted = project_markers(camera, points), project_points(camera, points)
        assert np.isnan(wanted).any()  # some lie behind the camera
        assert np.isfinite(wanted).all(axis=1).sum() > 10
        np.testing.assert_allclose(found, wanted, rtol=1e-9, atol=1e-9)
