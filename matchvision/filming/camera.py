"""The filming camera: a pinhole with radial and tangential lens distortion, seen from a pose.

Written for filming alone and from the textbook equations, so that a mistake in the analysis' own camera
cannot hide behind the same mistake here.
"""

from dataclasses import dataclass

import numpy as np

from matchvision.filming.arrays import Array
from matchvision.filming.equipment import Camera

OUTLINE = np.linspace(0, 2 * np.pi, 32, endpoint=False)  # angles of the points to which an ellipse is fitted


@dataclass(frozen=True)
class Lens:
    """What stays the same from frame to frame.

    ``distortion`` is k1, k2, p1, p2, k3; integer pixels are pixel centres.
    """

    f_px: tuple[float, float]
    centre_px: tuple[float, float]
    distortion: tuple[float, float, float, float, float]

    @property
    def matrix(self) -> Array:
        """Pinhole matrix, shape (3, 3)."""
        return np.array([[self.f_px[0], 0.0, self.centre_px[0]], [0.0, self.f_px[1], self.centre_px[1]], [0, 0, 1.0]])


@dataclass(frozen=True)
class Poses:
    """Where the camera stands at each of n moments: point_in_camera = rotation @ point_in_table + translation."""

    rotation: Array  # (n, 3, 3) camera_from_table
    translation: Array  # (n, 3) [m]

    def at(self, index: int) -> "Poses":
        """One moment of many, still with a leading axis of length one."""
        return Poses(self.rotation[index : index + 1], self.translation[index : index + 1])

    @property
    def position(self) -> Array:
        """Optical centre in the table frame, shape (n, 3) [m]."""
        return np.asarray(-np.einsum("nji,nj->ni", self.rotation, self.translation))


def lens_of(camera: Camera) -> Lens:
    """Lens of the scene's camera; the principal point is the picture's middle unless the scene says otherwise."""
    width, height = camera.size_px
    centre = camera.centre_px if camera.centre_px is not None else ((width - 1) / 2, (height - 1) / 2)
    return Lens(camera.f_px, centre, camera.distortion)


def aim(position_m: Array, look_at_m: Array, roll_deg: Array | float = 0.0) -> tuple[Array, Array]:
    """Rotation and translation of a camera that looks from one point at another; one (3,) or many (n, 3) of each.

    Camera axes: x to the right of the picture, y down, z forward. The camera is upright before ``roll_deg``
    turns it about its forward axis (positive: the picture's content turns counter-clockwise).
    """
    forward = look_at_m - position_m
    forward = forward / np.linalg.norm(forward, axis=-1, keepdims=True)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right, axis=-1, keepdims=True)
    down = np.cross(forward, right)
    roll = np.deg2rad(roll_deg)
    cos, sin = np.cos(roll)[..., None], np.sin(roll)[..., None]
    rotation = np.stack([cos * right + sin * down, cos * down - sin * right, forward], axis=-2)
    return rotation, -np.einsum("...ij,...j->...i", rotation, position_m)


def still_pose(camera: Camera) -> Poses:
    """The camera's one pose, without sway but after any knock."""
    rotation, translation = aim(np.array(camera.position_m), np.array(camera.look_at_m), camera.roll_deg)
    return _knocked(camera, Poses(rotation[None], translation[None]))


def _knocked(camera: Camera, poses: Poses) -> Poses:
    if camera.bump is None:
        return poses
    place = poses.position + np.array(camera.bump.move_m)
    rotation = turn_about(np.deg2rad(camera.bump.turn_deg)) @ poses.rotation
    return Poses(rotation, -np.einsum("nij,nj->ni", rotation, place))


def poses_over_time(camera: Camera, clip_s: Array, generator: np.random.Generator) -> Poses:
    """Pose of the camera at each time: still, or swaying as if held by hand.

    Parameters
    ----------
    camera : Camera
        The scene's camera; ``sway`` says how far it moves.
    clip_s : array, shape (n,) [s]
        Times.
    generator : Generator
        Draws the phases of the sway.

    Notes
    -----
    Sway is a sum of three sines a coordinate, periods 1, 0.43 and 0.21 of the stated one, amplitudes 0.8, 0.3 and
    0.1; the aimed-at point sways with the angle's amplitude.
    """
    if camera.sway is None:
        pose, count = still_pose(camera), len(clip_s)
        return Poses(np.repeat(pose.rotation, count, 0), np.repeat(pose.translation, count, 0))
    position, target = np.array(camera.position_m), np.array(camera.look_at_m)
    phase = generator.uniform(0, 2 * np.pi, (3, 7))
    parts = np.array([0.8, 0.3, 0.1])
    rate = 2 * np.pi / (camera.sway.period_s * np.array([1.0, 0.43, 0.21]))
    wave = np.einsum("k,kjn->nj", parts, np.sin(rate[:, None, None] * clip_s + phase[:, :, None]))
    reach = np.deg2rad(camera.sway.turn_deg) * np.linalg.norm(target - position)
    rotation, translation = aim(
        position + camera.sway.move_m * wave[:, 0:3],
        target + reach * wave[:, 3:6],
        camera.roll_deg + 0.5 * camera.sway.turn_deg * wave[:, 6],
    )
    return _knocked(camera, Poses(rotation, translation))


def distort(x: Array, y: Array, distortion: tuple[float, float, float, float, float]) -> tuple[Array, Array]:
    """Ideal image coordinates (at unit distance) to distorted ones.

    Notes
    -----
    D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971): radial polynomial
    1 + k1 r² + k2 r⁴ + k3 r⁶ and decentring 2 p1 x y + p2 (r² + 2x²), p1 (r² + 2y²) + 2 p2 x y.
    """
    k1, k2, p1, p2, k3 = distortion
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return (
        x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
        y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
    )


def undistort(x: Array, y: Array, distortion: tuple[float, float, float, float, float]) -> tuple[Array, Array]:
    """Inverse of `distort`, by fixed-point iteration; meant for the mild lenses of phones."""
    ideal_x, ideal_y = x, y
    for _ in range(12):
        bent_x, bent_y = distort(ideal_x, ideal_y, distortion)
        ideal_x, ideal_y = ideal_x + (x - bent_x), ideal_y + (y - bent_y)
    return ideal_x, ideal_y


def project_points(points_m: Array, lens: Lens, poses: Poses) -> Array:
    """Pixels of points given in the table frame.

    Parameters
    ----------
    points_m : array, shape (n, k, 3) or (k, 3) [m]
        Points for each of the n poses; a (k, 3) array is seen from the first pose.
    lens : Lens
    poses : Poses
        n poses.

    Returns
    -------
    array, shape as ``points_m`` with the last axis 2 [px]
        Column and row. A point behind the camera gives NaN.

    Notes
    -----
    Checked by: tests/filming/test_camera.py::test_projection_agrees_with_an_independent_one
    """
    single = points_m.ndim == 2
    points = points_m[None] if single else points_m
    rotation = poses.rotation[:1] if single else poses.rotation
    translation = poses.translation[:1] if single else poses.translation
    seen = np.einsum("nij,nkj->nki", rotation, points) + translation[:, None, :]
    depth = np.where(seen[..., 2] > 1e-6, seen[..., 2], np.nan)
    x, y = distort(seen[..., 0] / depth, seen[..., 1] / depth, lens.distortion)
    pixels = np.stack([lens.f_px[0] * x + lens.centre_px[0], lens.f_px[1] * y + lens.centre_px[1]], axis=-1)
    return pixels[0] if single else pixels


def horizon(centre: Array, radius: float, eye: Array) -> Array:
    """The circle along which rays from the eye graze a ball."""
    to_eye = eye - centre
    far = np.linalg.norm(to_eye, axis=1, keepdims=True)
    to_eye = to_eye / far
    across = np.cross(to_eye, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    upward = np.cross(across, to_eye)
    middle = centre + to_eye * radius**2 / far
    seen = radius * np.sqrt(1 - (radius / far) ** 2)
    circle = np.cos(OUTLINE)[None, :, None] * across[:, None] + np.sin(OUTLINE)[None, :, None] * upward[:, None]
    return np.asarray(middle[:, None] + seen[..., None] * circle)


def rays_through(col_px: Array, row_px: Array, lens: Lens, rotation: Array) -> Array:
    """Directions in the table frame of the rays through pixels, shape (..., 3), not normalised.

    Notes
    -----
    Checked by: tests/filming/test_camera.py::test_ray_through_a_pixel_meets_its_point
    """
    x = (col_px - lens.centre_px[0]) / lens.f_px[0]
    y = (row_px - lens.centre_px[1]) / lens.f_px[1]
    x, y = undistort(x, y, lens.distortion)
    return np.asarray(x[..., None] * rotation[0] + y[..., None] * rotation[1] + rotation[2])


def turn_about(vector_rad: Array) -> Array:
    """Rotation matrix of a Rodrigues vector [rad].

    Notes
    -----
    O. Rodrigues, 1840: R = 1 + sin θ K + (1 − cos θ) K², K the cross-product matrix of the unit axis.

    Checked by: tests/filming/test_camera.py::test_rotation_vector_agrees_with_an_independent_one
    """
    angle = float(np.linalg.norm(vector_rad))
    x, y, z = vector_rad / max(angle, 1e-300)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross)


def rotation_vector(rotation: Array) -> Array:
    """Rodrigues vector of a rotation matrix, shape (3,) [rad]; the angle must lie below pi."""
    angle = np.arccos(np.clip((np.trace(rotation) - 1) / 2, -1, 1))
    axis = np.array([rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]])
    return np.zeros(3) if angle < 1e-12 else axis * angle / (2 * np.sin(angle))
