"""Pixels placed on the table with their uncertainty, the camera's share kept apart from each point's own.

The camera's error is common to all points and, with a still camera, to all frames; the rest is each point's own.
Whoever joins points or frames needs to know which is which, so both travel separately, with the derivatives that
tell how two points' camera errors go together.
"""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import PARAMETER_STEPS, place_at_height, place_on_plane, project_points
from matchvision.geometry.spreading import spread_on_planes

#: Step for numerical derivatives by a place on the table [m].
PLACE_STEP_M = 1e-5
#: Numbers from which an array counts as large.
MANY_NUMBERS = 10_000


@dataclass(frozen=True, eq=False)
class Placing:
    """Places at known height, n frames by m markers.

    Attributes
    ----------
    x_m, y_m, z_m : (n, m) float arrays
    cov_own : (n, m, 2, 2) float array
        Covariance of (x, y) from the pixel and the height, independent from point to point.
    cov_camera : (n, m, 2, 2) float array
        Covariance of (x, y) from the camera, common to the points.
    camera_jacobian : (n, m, 2, 15) float array
        Derivatives of (x, y) by the camera's parameters: J_a C J_b^T is the covariance that points a and b share.
    """

    x_m: FloatArray
    y_m: FloatArray
    z_m: FloatArray
    cov_own: FloatArray
    cov_camera: FloatArray
    camera_jacobian: FloatArray


@dataclass(frozen=True, eq=False)
class PlanePlacing:
    """Places on planes of any tilt, n frames by m markers; covariances are of (x, y, z).

    Attributes
    ----------
    point_m : (n, m, 3) float array
    cov_own, cov_camera : (n, m, 3, 3) float arrays
    camera_jacobian : (n, m, 3, 15) float array
    """

    point_m: FloatArray
    cov_own: FloatArray
    cov_camera: FloatArray
    camera_jacobian: FloatArray


def parameter_jacobian(parameters: FloatArray, points_m: FloatArray) -> FloatArray:
    """Derivatives (..., 2, 15) of the pixels of table points (..., 3) by the camera's parameters (..., 15)."""
    parameters = np.asarray(parameters, dtype=np.float64)
    leading = max(parameters.ndim, np.ndim(points_m)) - 1
    if np.size(points_m) > MANY_NUMBERS:
        # One by one: all at once would take thirty times the memory of the points.
        shape = np.broadcast_shapes(parameters.shape[:-1], np.shape(points_m)[:-1])
        jacobian = np.empty((*shape, 2, 15))
        for i, step in enumerate(PARAMETER_STEPS):
            one = step * np.eye(15)[i]
            ahead, behind = project_points(parameters + one, points_m), project_points(parameters - one, points_m)
            jacobian[..., i] = (ahead - behind) / (2 * step)
        return jacobian
    shift = np.diag(PARAMETER_STEPS).reshape(15, *(1,) * leading, 15)
    ahead, behind = project_points(parameters + shift, points_m), project_points(parameters - shift, points_m)
    return np.asarray(np.moveaxis(ahead - behind, 0, -1) / (2 * PARAMETER_STEPS), dtype=np.float64)


def direction_jacobian(parameters: FloatArray, points_m: FloatArray, direction: FloatArray) -> FloatArray:
    """Derivatives (..., 2) of the pixels of table points (..., 3) [px/m] along directions (..., 3)."""
    shift = PLACE_STEP_M * np.asarray(direction, dtype=np.float64)
    ahead, behind = project_points(parameters, points_m + shift), project_points(parameters, points_m - shift)
    return np.asarray((ahead - behind) / (2 * PLACE_STEP_M), dtype=np.float64)


def _turn(jacobian: FloatArray, covariance: FloatArray) -> FloatArray:
    """J C J^T over leading axes."""
    return np.asarray(jacobian @ covariance @ np.swapaxes(jacobian, -1, -2), dtype=np.float64)


def place_with_uncertainty(
    parameters: FloatArray,
    covariance: FloatArray,
    pixels_px: FloatArray,
    u_pixels_px: FloatArray,
    z_m: FloatArray,
    u_z_m: FloatArray,
) -> Placing:
    """Places of pixels at known height above the table, with own and camera uncertainty.

    Parameters
    ----------
    parameters : (15,) or (n, 15) float array
        One camera for all frames, or one for each.
    covariance : (15, 15) or (n, 15, 15) float array
    pixels_px, u_pixels_px : (n, m, 2) float arrays
        Pixels (col, row) and their standard uncertainties; NaN gives NaN.
    z_m, u_z_m : (n, m) float arrays or broadcast to it

    Returns
    -------
    Placing

    Notes
    -----
    First-order propagation (JCGM 100:2008, eq. 13) with derivatives from the implicit function theorem.
    Checked by: tests/derived/test_plane_measuring.py::test_two_points_and_their_distance
    """
    parameters, covariance = np.asarray(parameters, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    camera = parameters[..., None, :]
    pixels = np.asarray(pixels_px, dtype=np.float64)
    u_pixels = np.broadcast_to(np.asarray(u_pixels_px, dtype=np.float64), pixels.shape)
    shape = pixels.shape[:-1]
    z = np.broadcast_to(np.asarray(z_m, dtype=np.float64), shape)
    u_z = np.broadcast_to(np.asarray(u_z_m, dtype=np.float64), shape)
    points = place_at_height(camera, pixels, z)
    axes = (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0]))
    own, common, by_camera = spread_on_planes(
        parameters.reshape(-1, 15), covariance.reshape(-1, 15, 15), u_pixels, points, axes, u_z
    )
    return Placing(points[..., 0], points[..., 1], np.array(z), own, common, by_camera)


def place_on_plane_with_uncertainty(
    parameters: FloatArray,
    covariance: FloatArray,
    pixels_px: FloatArray,
    u_pixels_px: FloatArray,
    point_m: FloatArray,
    normal: FloatArray,
    u_offset_m: FloatArray,
) -> PlanePlacing:
    """Places of pixels on planes of any tilt, such as wheel faces, with own and camera uncertainty.

    Parameters
    ----------
    parameters, covariance, pixels_px, u_pixels_px
        As for `place_with_uncertainty`.
    point_m, normal : (n, m, 3) float arrays or broadcast to it
        A point of each plane and its unit normal.
    u_offset_m : (n, m) float array or broadcast to it
        Standard uncertainty of the plane's place along its normal.

    Notes
    -----
    The point moves along the ray when the plane does, so ``cov_own`` has a part along the normal as well.
    Checked by: tests/geometry/test_placing.py::test_plane_and_height_agree
    """
    parameters, covariance = np.asarray(parameters, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    camera = parameters[..., None, :]
    pixels = np.asarray(pixels_px, dtype=np.float64)
    u_pixels = np.broadcast_to(np.asarray(u_pixels_px, dtype=np.float64), pixels.shape)
    shape = pixels.shape[:-1]
    normal = np.broadcast_to(np.asarray(normal, dtype=np.float64), (*shape, 3))
    normal = normal / np.linalg.norm(normal, axis=-1, keepdims=True)
    u_offset = np.broadcast_to(np.asarray(u_offset_m, dtype=np.float64), shape)
    points = place_on_plane(camera, pixels, point_m, normal)
    flat = np.abs(normal[..., 2:]) > 0.9
    helper = np.where(flat, np.array([1.0, 0, 0]), np.array([0, 0, 1.0]))
    first = np.cross(helper, normal)
    first = first / np.linalg.norm(first, axis=-1, keepdims=True)
    second = np.cross(normal, first)
    own, common, by_camera = spread_on_planes(
        parameters.reshape(-1, 15),
        covariance.reshape(-1, 15, 15),
        u_pixels,
        points,
        (first, second, normal),
        np.zeros(shape),
    )
    table_from_plane = np.stack([first, second], axis=-1)
    # The ray's direction, scaled to one metre along the normal, carries the offset's uncertainty.
    ahead = place_on_plane(camera, pixels, np.asarray(point_m) + PLACE_STEP_M * normal, normal)
    lever = (ahead - points) / PLACE_STEP_M
    along = (lever[..., :, None] * lever[..., None, :]) * (u_offset**2)[..., None, None]
    return PlanePlacing(
        points, _turn(table_from_plane, own) + along, _turn(table_from_plane, common), table_from_plane @ by_camera
    )
