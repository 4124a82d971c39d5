"""Pixel from table and back."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchvision.geometry.camera import (
    place_at_height,
    place_on_plane,
    project_points,
    rays,
    rotation_matrix,
    undistort,
)


def phone(f_px: float = 985.0, k1: float = -0.045, k2: float = 0.012) -> np.ndarray:
    """A phone camera 2.2 m from the table's middle, looking down at it obliquely."""
    turn = [2.2787, -0.1107, 0.0362]
    return np.array([f_px, f_px * 1.002, 644.8, 355.8, k1, k2, 4e-4, -3e-4, 0.002, *turn, -0.02, -0.01, 2.24])


@pytest.mark.parametrize("seed", range(3))
def test_projection_agrees_with_opencv(seed: int) -> None:
    rng = np.random.default_rng(seed)
    camera = phone(k1=0.1 * rng.normal(), k2=0.03 * rng.normal())
    points = rng.uniform([-1, -0.5, 0], [1, 0.5, 0.2], size=(50, 3))
    matrix = np.array([[camera[0], 0, camera[2]], [0, camera[1], camera[3]], [0, 0, 1]])
    wanted = cv2.projectPoints(points, camera[9:12], camera[12:15], matrix, camera[4:9])[0][:, 0]
    np.testing.assert_allclose(project_points(camera, points), wanted, atol=1e-9)


def test_rotation_agrees_with_opencv_down_to_no_turn_at_all() -> None:
    for vector in ([0.0, 0.0, 0.0], [1e-9, 0, 0], [1e-5, -2e-5, 0], [0.3, -2.0, 1.1], [0, 0, 3.14159]):
        np.testing.assert_allclose(rotation_matrix(np.array(vector)), cv2.Rodrigues(np.array(vector))[0], atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    x=st.floats(-1.0, 1.0),
    y=st.floats(-0.5, 0.5),
    z=st.floats(0.0, 0.2),
    f_px=st.floats(800, 1600),
    k1=st.floats(-0.12, 0.12),
    k2=st.floats(-0.02, 0.02),
)
def test_place_pixel_place_returns(x: float, y: float, z: float, f_px: float, k1: float, k2: float) -> None:
    camera = phone(f_px, k1, k2)
    pixel = project_points(camera, np.array([x, y, z]))
    np.testing.assert_allclose(place_at_height(camera, pixel, z), [x, y, z], atol=1e-8)


def test_many_frames_and_markers_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(5)
    cameras = np.array([phone(f_px=f) for f in (900.0, 1000.0, 1100.0)])
    points = rng.uniform([-1, -0.5, 0], [1, 0.5, 0.2], size=(3, 4, 3))
    together = project_points(cameras[:, None], points)
    for n in range(3):
        for m in range(4):
            np.testing.assert_allclose(together[n, m], project_points(cameras[n], points[n, m]), atol=1e-10)


def test_points_behind_the_camera_are_not_seen() -> None:
    centre, _ = rays(phone(), np.array([640.0, 360.0]))
    assert np.isnan(project_points(phone(), centre + np.array([0.0, -1.0, 1.0]))).all()


def test_plane_across_the_view_is_met_where_it_stands() -> None:
    camera = phone()
    wanted = np.array([0.3, -0.118, 0.06])
    found = place_on_plane(camera, project_points(camera, wanted), np.array([9.0, -0.118, 4.0]), np.array([0.0, 1, 0]))
    np.testing.assert_allclose(found, wanted, atol=1e-9)


@pytest.mark.parametrize("k1", [-0.3, -0.2, 0.3])
def test_strong_lenses_are_undone(k1: float) -> None:
    """Beyond phones' lenses, as of action cameras; OpenCV's published chessboard lens has k1 = -0.27."""
    camera = phone(f_px=700.0, k1=k1, k2=0.05)
    x, y = np.meshgrid(np.linspace(-0.75, 0.75, 7), np.linspace(-0.45, 0.45, 5))
    pixels = project_points(np.concatenate([camera[:9], np.zeros(6)]), np.stack([x, y, np.ones_like(x)], axis=-1))
    found = undistort(camera, pixels)
    np.testing.assert_allclose(found[0], x, atol=1e-10)
    np.testing.assert_allclose(found[1], y, atol=1e-10)


def test_pixels_that_no_ray_reaches_are_empty() -> None:
    """With k1 = -0.5 the picture of the whole world ends at a radius of 0.54 focal lengths."""
    x, y = undistort(phone(f_px=700.0, k1=-0.5, k2=0.0), np.array([[644.8, 355.8], [1279.0, 0.0]]))
    assert np.isfinite(x[0])
    assert np.isnan([x[1], y[1]]).all()
