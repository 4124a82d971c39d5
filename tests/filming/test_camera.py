"""The filming camera against an independent projection and against its own inverse."""

import cv2
import numpy as np

from matchvision.filming.camera import Lens, Poses, aim, project_points, rays_through, rotation_vector

LENS = Lens((985.0, 987.0), (644.8, 355.8), (-0.06, 0.02, 0.0006, -0.0004, 0.003))


def a_pose() -> Poses:
    rotation, translation = aim(np.array([-0.2, -1.7, 1.4]), np.array([0.05, -0.04, 0.0]), 1.3)
    return Poses(rotation[None], translation[None])


def points_on_and_above_the_table() -> np.ndarray:
    generator = np.random.default_rng(5)
    return generator.uniform([-1.1, -0.55, 0.0], [1.1, 0.55, 0.15], (300, 3))


def test_projection_agrees_with_an_independent_one() -> None:
    pose, points = a_pose(), points_on_and_above_the_table()
    vector, _ = cv2.Rodrigues(pose.rotation[0])
    expected, _ = cv2.projectPoints(points, vector, pose.translation[0], LENS.matrix, np.array(LENS.distortion))
    np.testing.assert_allclose(project_points(points, LENS, pose), expected[:, 0], atol=1e-8)


def test_rotation_vector_agrees_with_an_independent_one() -> None:
    rotation = a_pose().rotation[0]
    expected, _ = cv2.Rodrigues(rotation)
    np.testing.assert_allclose(rotation_vector(rotation), expected[:, 0], atol=1e-12)


def test_ray_through_a_pixel_meets_its_point() -> None:
    pose, points = a_pose(), points_on_and_above_the_table()
    pixels = project_points(points, LENS, pose)
    rays = rays_through(pixels[:, 0], pixels[:, 1], LENS, pose.rotation[0])
    eye = pose.position[0]
    reach = (points[:, 2] - eye[2]) / rays[:, 2]
    np.testing.assert_allclose(eye + reach[:, None] * rays, points, atol=1e-7)


def test_the_camera_sees_what_it_looks_at_upright() -> None:
    rotation, translation = aim(np.array([0.0, -2.0, 1.5]), np.zeros(3))
    pose = Poses(rotation[None], translation[None])
    middle, right, above = project_points(np.array([[0, 0, 0], [0.1, 0, 0], [0, 0, 0.1]], float), LENS, pose)
    np.testing.assert_allclose(middle, LENS.centre_px, atol=1e-9)
    assert right[0] > middle[0]
    assert above[1] < middle[1]


def test_a_point_behind_the_camera_has_no_pixel() -> None:
    assert np.isnan(project_points(np.array([[0.0, -5.0, 3.0]]), LENS, a_pose())).all()
