"""Poses on flat and ridged tables."""

import numpy as np
import pytest

from matchvision.geometry.camera import project_points
from matchvision.markers.poses import Profile, measure_pose, place_above, stand
from matchvision.records.camera import Camera

RIDGE = ((-1.2, -0.126), (0.0, 0.0), (1.2, -0.126))
AT = np.array([[0.09, 0.0, 0.12], [-0.09, 0.0, 0.12], [0.0, 0.08, 0.12]])
CAMERA = Camera(
    1280, 720, np.array([985.0, 985, 640, 360, -0.045, 0.012, 0, 0, 0, 2.28, -0.1, 0.03, 0, 0, 2.2]), np.zeros((15, 15))
)


@pytest.mark.parametrize("profile", [(), RIDGE])
@pytest.mark.parametrize("x_m", [-0.6, 0.55])
@pytest.mark.parametrize("count", [2, 3])
def test_a_pose_is_found_again_from_its_markers(profile: Profile, x_m: float, count: int) -> None:
    pose = stand(x_m, 0.07, 2.9, profile)
    found = measure_pose(AT[:count], pose.place(AT[:count]), None, profile)
    assert found is not None
    assert found.place(AT) == pytest.approx(pose.place(AT), abs=1.5e-3)


@pytest.mark.parametrize("profile", [(), RIDGE])
def test_one_marker_shifts_a_known_pose(profile: Profile) -> None:
    before, after = stand(-0.60, 0.07, 2.9, profile), stand(-0.57, 0.05, 2.9, profile)
    found = measure_pose(AT[:1], after.place(AT[:1]), before, profile)
    assert found is not None
    assert (found.x_m, found.y_m) == pytest.approx((-0.57, 0.05), abs=1e-3)
    assert measure_pose(AT[:1], np.full((1, 3), np.nan), before, profile) is None


def test_a_machine_on_a_ridge_stands_square_to_its_slope() -> None:
    pose = stand(0.6, 0.0, 0.0, RIDGE)
    assert pose.z_m == pytest.approx(-0.063)
    assert np.rad2deg(pose.slope_rad) == pytest.approx(-5.994, abs=0.01)
    axes = np.stack([pose.forward, pose.left, pose.up])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    origin = pose.place(np.zeros(3))
    assert pose.place(np.array([0.1, 0.2, 0.3])) - origin == pytest.approx(np.array([0.1, 0.2, 0.3]) @ axes)


def test_pixels_are_placed_above_the_slope_not_above_zero() -> None:
    points = np.array([[0.7, 0.1, -0.0735 + 0.12], [-0.3, -0.2, -0.0315 + 0.12]])
    pixels = project_points(CAMERA.parameters, points)
    assert place_above(CAMERA, pixels, 0.12, RIDGE) == pytest.approx(points, abs=2e-4)
