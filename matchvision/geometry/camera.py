"""Pixel from table and back: the pinhole camera with Brown–Conrady lens distortion.

All functions broadcast over leading axes, so that a whole clip is projected in one call, with one camera for all
frames or one for each.
"""

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.camera import Camera, Cameras

#: Turns of Newton's method after which a pixel counts as beyond the lens.
_NEWTON_TURNS = 12
#: Numbers from which an array counts as large.
_MANY_NUMBERS = 10_000


def rotation_matrix(rotation_rad: FloatArray) -> FloatArray:
    """Rotation matrices (..., 3, 3) from rotation vectors (..., 3) [rad], by Rodrigues' formula."""
    vector = np.asarray(rotation_rad, dtype=np.float64)
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    angle = np.sqrt(x * x + y * y + z * z)
    small = angle < 1e-8
    safe = np.where(small, 1.0, angle)
    first = np.where(small, 1.0, np.sin(angle) / safe)
    second = np.where(small, 0.5, (1 - np.cos(angle)) / safe**2)
    matrix = np.empty((*vector.shape[:-1], 3, 3))
    matrix[..., 0, 0] = 1 - second * (y * y + z * z)
    matrix[..., 1, 1] = 1 - second * (x * x + z * z)
    matrix[..., 2, 2] = 1 - second * (x * x + y * y)
    matrix[..., 0, 1], matrix[..., 1, 0] = second * x * y - first * z, second * x * y + first * z
    matrix[..., 0, 2], matrix[..., 2, 0] = second * x * z + first * y, second * x * z - first * y
    matrix[..., 1, 2], matrix[..., 2, 1] = second * y * z - first * x, second * y * z + first * x
    return matrix


def _distort(parameters: FloatArray, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    k1, k2, p1, p2, k3 = (parameters[..., i] for i in range(4, 9))
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return (
        x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
        y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
    )


def project_points(parameters: FloatArray, points_m: FloatArray) -> FloatArray:
    """Pixels (..., 2) of table points (..., 3) [m]; NaN for points behind the camera.

    Notes
    -----
    Brown–Conrady distortion with radial terms r², r⁴, r⁶ and two tangential ones: D. C. Brown, "Decentering distortion
    of lenses", Photogrammetric Engineering 32 (1966) 444.
    Checked by: tests/geometry/test_camera.py::test_projection_agrees_with_opencv
    """
    parameters = np.asarray(parameters, dtype=np.float64)
    across, down, depth = _in_camera(parameters, np.asarray(points_m, dtype=np.float64))
    depth = np.where(depth > 1e-9, depth, np.nan)
    x, y = _distort(parameters, across / depth, down / depth)
    return np.stack([parameters[..., 0] * x + parameters[..., 2], parameters[..., 1] * y + parameters[..., 3]], axis=-1)


def _in_camera(parameters: FloatArray, points_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points (..., 3) in the camera's frame: right, down and ahead of it [m]."""
    rotation = rotation_matrix(parameters[..., 9:12])
    if points_m.size < _MANY_NUMBERS:
        seen = np.einsum("...ij,...j->...i", rotation, points_m) + parameters[..., 12:15]
        return seen[..., 0], seen[..., 1], seen[..., 2]
    # Of many points the three parts by themselves take half the time.
    x, y, z = (points_m[..., i] for i in range(3))
    right, down, ahead = (
        rotation[..., i, 0] * x + rotation[..., i, 1] * y + rotation[..., i, 2] * z + parameters[..., 12 + i]
        for i in range(3)
    )
    return right, down, ahead


def undistort(parameters: FloatArray, pixels_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where pixels (..., 2) lie on the plane at unit distance before the camera, lens distortion undone: x and y.

    Notes
    -----
    Newton's method from the distorted place, three to five turns for phones' lenses; NaN where a strong lens folds the
    picture over, so that no ray belongs to the pixel.
    Checked by: tests/geometry/test_camera.py::test_strong_lenses_are_undone
    """
    x_seen = (pixels_px[..., 0] - parameters[..., 2]) / parameters[..., 0]
    y_seen = (pixels_px[..., 1] - parameters[..., 3]) / parameters[..., 1]
    k1, k2, p1, p2, k3 = (parameters[..., i] for i in range(4, 9))
    x, y = x_seen, y_seen
    off = np.zeros_like(x)
    for _ in range(_NEWTON_TURNS):
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        steep = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))
        off_x = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x) - x_seen
        off_y = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y - y_seen
        off = abs(off_x) + abs(off_y)
        # A hundred-millionth of a pixel; NaN pixels never hold it up.
        if not (off > 1e-11).any():
            break
        by_xx = radial + steep * x * x + 2 * p1 * y + 6 * p2 * x
        by_yy = radial + steep * y * y + 6 * p1 * y + 2 * p2 * x
        by_xy = steep * x * y + 2 * p1 * x + 2 * p2 * y
        determinant = by_xx * by_yy - by_xy * by_xy
        determinant = np.where(abs(determinant) > 1e-3, determinant, 1.0)
        x = x - (by_yy * off_x - by_xy * off_y) / determinant
        y = y - (by_xx * off_y - by_xy * off_x) / determinant
    lost = off > 1e-8
    if np.any(lost):
        x, y = np.where(lost, np.nan, x), np.where(lost, np.nan, y)
    return x, y


def rays(parameters: FloatArray, pixels_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Camera centre (..., 3) [m] and directions (..., 3), table frame, of the rays through pixels (..., 2)."""
    parameters = np.asarray(parameters, dtype=np.float64)
    x, y = undistort(parameters, np.asarray(pixels_px, dtype=np.float64))
    rotation = rotation_matrix(parameters[..., 9:12])
    in_camera = np.stack([x, y, np.ones_like(x)], axis=-1)
    direction = np.einsum("...ji,...j->...i", rotation, in_camera)
    centre = -np.einsum("...ji,...j->...i", rotation, parameters[..., 12:15])
    return np.broadcast_to(centre, direction.shape), direction


def place_on_plane(
    parameters: FloatArray, pixels_px: FloatArray, point_m: FloatArray, normal: FloatArray
) -> FloatArray:
    """Table points (..., 3) [m] where the rays through pixels (..., 2) meet a plane given by a point and its normal."""
    centre, direction = rays(parameters, pixels_px)
    normal = np.asarray(normal, dtype=np.float64)
    along = np.sum((np.asarray(point_m, dtype=np.float64) - centre) * normal, axis=-1)
    slope = np.sum(direction * normal, axis=-1)
    slope = np.where(np.abs(slope) < 1e-9, np.nan, slope)
    return np.asarray(centre + (along / slope)[..., None] * direction, dtype=np.float64)


def place_at_height(parameters: FloatArray, pixels_px: FloatArray, z_m: FloatArray | float) -> FloatArray:
    """Table points (..., 3) [m] at known height ``z_m`` above the table, from pixels (..., 2)."""
    z = np.asarray(z_m, dtype=np.float64)[..., None]
    return place_on_plane(parameters, pixels_px, np.concatenate([z * 0, z * 0, z], axis=-1), np.array([0.0, 0.0, 1.0]))


#: Steps for numerical derivatives by the camera's parameters, in their order.
PARAMETER_STEPS = np.array([1e-2] * 4 + [1e-5] * 5 + [1e-6] * 3 + [1e-6] * 3)


def camera_at(cameras: Cameras, frame: int) -> Camera:
    """The camera of a frame; a still camera serves every frame."""
    k = int(np.clip(np.searchsorted(cameras.frame, frame), 0, len(cameras.frame) - 1)) if cameras.moves else 0
    return Camera(cameras.width_px, cameras.height_px, cameras.parameters[k], cameras.covariance[k])
