"""Uncertainty of places: derivatives and covariances against brute force."""

import numpy as np
import pytest

from matchvision.geometry.camera import PARAMETER_STEPS, place_at_height, place_on_plane, project_points
from matchvision.geometry.placing import (
    direction_jacobian,
    place_on_plane_with_uncertainty,
    place_with_uncertainty,
)
from matchvision.geometry.spreading import spread_on_planes

CAMERA = np.array(
    [985.0, 987.0, 644.8, 355.8, -0.045, 0.012, 4e-4, -3e-4, 0.0, 2.2787, -0.1107, 0.0362, -0.02, -0.01, 2.24]
)
SPREAD = np.diag(np.array([4.0, 4, 3, 3, 0.004, 0.004, 1e-4, 1e-4, 1e-3, 1e-3, 1e-3, 1e-3, 2e-3, 2e-3, 4e-3]) ** 2)


def pixels_over_the_table(n: int = 2, m: int = 3, z_m: float = 0.07) -> np.ndarray:
    rng = np.random.default_rng(1)
    points = rng.uniform([-0.9, -0.4, z_m], [0.9, 0.4, z_m], size=(n, m, 3))
    return project_points(CAMERA, points)


def test_camera_derivatives_agree_with_moving_the_camera() -> None:
    pixels = pixels_over_the_table()
    placed = place_with_uncertainty(CAMERA, SPREAD, pixels, 0 * pixels, np.full((2, 3), 0.07), np.zeros((2, 3)))
    for k, step in enumerate(PARAMETER_STEPS):
        shift = np.zeros(15)
        shift[k] = step
        moved = place_at_height(CAMERA + shift, pixels, 0.07) - place_at_height(CAMERA - shift, pixels, 0.07)
        np.testing.assert_allclose(placed.camera_jacobian[..., k], moved[..., :2] / (2 * step), rtol=1e-4, atol=1e-6)


@pytest.mark.parametrize("turn", [CAMERA[9:12], np.zeros(3)])
def test_derivatives_by_the_camera_are_those_of_the_projection(turn: np.ndarray) -> None:
    """Every parameter, k₃ too, by finer steps than any in the program; a camera that is not turned as well."""
    camera = CAMERA.copy()
    camera[8:12] = 0.003, *turn
    rng = np.random.default_rng(4)
    points = rng.uniform([-0.2, -0.1, 0.0], [0.2, 0.1, 0.1], size=(1, 4, 3))
    first, second, normal = np.linalg.qr(rng.normal(size=(3, 3)))[0].T
    nothing = np.zeros((1, 4))
    _, _, found = spread_on_planes(
        camera[None], SPREAD[None], np.ones((1, 4, 2)), points, (first, second, normal), nothing
    )
    along = np.stack([direction_jacobian(camera, points, axis) for axis in (first, second)], axis=-1)
    steps = PARAMETER_STEPS * 0.1
    for k, step in enumerate(steps):
        shift = step * np.eye(15)[k]
        moved = (project_points(camera + shift, points) - project_points(camera - shift, points)) / (2 * step)
        np.testing.assert_allclose(along @ found[..., k, None], -moved[..., None], rtol=1e-6, atol=1e-4)


def test_one_camera_and_one_for_each_frame_agree() -> None:
    pixels = pixels_over_the_table()
    one = place_with_uncertainty(CAMERA, SPREAD, pixels, 0 * pixels + 0.1, np.full((2, 3), 0.07), np.zeros((2, 3)))
    cameras, spreads = np.tile(CAMERA, (2, 1)), np.tile(SPREAD, (2, 1, 1))
    each = place_with_uncertainty(cameras, spreads, pixels, 0 * pixels + 0.1, np.full((2, 3), 0.07), np.zeros((2, 3)))
    np.testing.assert_allclose(each.x_m, one.x_m)
    np.testing.assert_allclose(each.cov_camera, one.cov_camera)
    np.testing.assert_allclose(each.cov_own, one.cov_own)


def test_covariances_agree_with_random_draws() -> None:
    rng = np.random.default_rng(2)
    pixel = pixels_over_the_table(1, 1)
    u_px, u_z = np.array([[[0.3, 0.2]]]), np.full((1, 1), 0.002)
    placed = place_with_uncertainty(CAMERA, SPREAD, pixel, u_px, np.full((1, 1), 0.07), u_z)
    draws = 20000
    cameras = rng.multivariate_normal(CAMERA, SPREAD, size=draws)
    by_camera = place_at_height(cameras, np.broadcast_to(pixel[0, 0], (draws, 2)), 0.07)[:, :2]
    np.testing.assert_allclose(np.cov(by_camera.T), placed.cov_camera[0, 0], rtol=0.05, atol=3e-8)
    shown = pixel[0, 0] + u_px[0, 0] * rng.normal(size=(draws, 2))
    own = place_at_height(CAMERA, shown, 0.07 + 0.002 * rng.normal(size=draws))[:, :2]
    np.testing.assert_allclose(np.cov(own.T), placed.cov_own[0, 0], rtol=0.05, atol=1e-8)


def test_plane_and_height_agree() -> None:
    pixels = pixels_over_the_table()
    u_px = 0 * pixels + 0.2
    flat = place_with_uncertainty(CAMERA, SPREAD, pixels, u_px, np.full((2, 3), 0.07), np.full((2, 3), 0.001))
    plane = place_on_plane_with_uncertainty(
        CAMERA, SPREAD, pixels, u_px, np.array([0.5, 0.5, 0.07]), np.array([0.0, 0, 1]), np.array(0.001)
    )
    np.testing.assert_allclose(plane.point_m[..., 0], flat.x_m, atol=1e-12)
    np.testing.assert_allclose(plane.cov_own[..., :2, :2], flat.cov_own, rtol=1e-6)
    np.testing.assert_allclose(plane.cov_camera[..., :2, :2], flat.cov_camera, rtol=1e-6, atol=1e-14)
    np.testing.assert_allclose(plane.cov_own[..., 2, 2], 1e-6, rtol=1e-6)


def test_wheel_face_moves_along_the_ray_when_its_offset_does() -> None:
    rng = np.random.default_rng(3)
    normal = np.array([0.1, -0.99, 0.05])
    normal /= np.linalg.norm(normal)
    pixel = project_points(CAMERA, np.array([[[0.4, -0.12, 0.05]]]))
    placed = place_on_plane_with_uncertainty(
        CAMERA, 0 * SPREAD, pixel, 0 * pixel, np.array([0.4, -0.12, 0.05]), normal, np.array(0.001)
    )
    offsets = 0.001 * rng.normal(size=(20000, 1))
    moved = place_on_plane(CAMERA, pixel[0, 0], np.array([0.4, -0.12, 0.05]) + offsets * normal, normal)
    np.testing.assert_allclose(np.cov(moved.T), placed.cov_own[0, 0], rtol=0.04, atol=1e-9)


@pytest.mark.parametrize("gap", [np.nan])
def test_gaps_stay_gaps_and_touch_nothing_else(gap: float) -> None:
    pixels = pixels_over_the_table()
    whole = place_with_uncertainty(CAMERA, SPREAD, pixels, 0 * pixels + 0.1, np.full((2, 3), 0.07), np.zeros((2, 3)))
    pixels[0, 1] = gap
    placed = place_with_uncertainty(CAMERA, SPREAD, pixels, 0 * pixels + 0.1, np.full((2, 3), 0.07), np.zeros((2, 3)))
    assert np.isnan(placed.x_m[0, 1])
    assert np.isnan(placed.cov_own[0, 1]).all()
    np.testing.assert_array_equal(placed.x_m[1], whole.x_m[1])


def test_higher_markers_misplaced_as_flat_ones_are_centimetres_off() -> None:
    """The reason for heights: a marker 135 mm up, taken as lying on the table, is far from where it stands."""
    place = np.array([0.9, 0.3, 0.135])
    taken_as_flat = place_at_height(CAMERA, project_points(CAMERA, place), 0.0)
    assert np.linalg.norm(taken_as_flat[:2] - place[:2]) > 0.05
