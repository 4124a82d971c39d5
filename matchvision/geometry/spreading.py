"""How pixels' and cameras' uncertainty spreads over planes: all points of a clip in one compiled call."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept


def spread_on_planes(
    parameters: FloatArray,
    covariance: FloatArray,
    u_pixels_px: FloatArray,
    points_m: FloatArray,
    axes: tuple[FloatArray, FloatArray, FloatArray],
    u_offset_m: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Own and camera covariance (n, m, 2, 2) of two coordinates in planes, and their derivatives (n, m, 2, 15).

    Parameters
    ----------
    parameters, covariance : (1 or n, 15) and (1 or n, 15, 15) float arrays
    u_pixels_px, points_m : (n, m, 2) and (n, m, 3) float arrays
    axes : three (n, m, 3) or (3,) float arrays
        Two unit vectors in each point's plane and its normal.
    u_offset_m : (n, m) float array
        Standard uncertainty of the planes' places along their normals.

    Notes
    -----
    With p the pixel and q the place in the plane, p = project(camera, q, offset) holds whatever the camera:
    dq = (∂p/∂q)⁻¹ (dp − ∂p/∂camera · dcamera − ∂p/∂offset · doffset), the implicit function theorem. Derivatives are
    those of the Brown–Conrady projection, in closed form; of the rotation by its vector: G. Gallego, A. Yezzi, "A
    compact formula for the derivative of a 3-D rotation in exponential coordinates", J. Math. Imaging and Vision 51
    (2015) 378, eq. 9.
    Checked by: tests/geometry/test_placing.py::test_derivatives_by_the_camera_are_those_of_the_projection
    """
    shape = points_m.shape[:2]
    own, common, by_camera = np.empty((*shape, 2, 2)), np.empty((*shape, 2, 2)), np.empty((*shape, 2, 15))
    spread_kernel(
        _row_major(parameters),
        _row_major(covariance),
        _row_major(u_pixels_px),
        _row_major(points_m),
        *(_row_major(axis if axis.ndim == 3 else axis[None, None]) for axis in axes),
        _row_major(u_offset_m),
        own,
        common,
        by_camera,
    )
    return own, common, by_camera


def _row_major(values: FloatArray) -> FloatArray:
    # Views that are written to in no way would be another type to the compiler.
    kept = np.ascontiguousarray(values, dtype=np.float64)
    return kept if kept.flags.writeable else kept.copy()


def _turn_loops(vector: Any, rotation: Any, by_vector: Any) -> None:  # noqa: ANN401
    """Rotation matrix (3, 3) of a rotation vector, and its derivatives (3, 3, 3) by the vector's parts, first axis."""
    angle = math.sqrt(vector[0] ** 2 + vector[1] ** 2 + vector[2] ** 2)
    first, second = 1.0, 0.5
    if angle >= 1e-8:
        first, second = math.sin(angle) / angle, (1 - math.cos(angle)) / (angle * angle)
    x, y, z = vector[0], vector[1], vector[2]
    rotation[0, 0], rotation[0, 1] = 1 - second * (y * y + z * z), second * x * y - first * z
    rotation[0, 2], rotation[1, 0] = second * x * z + first * y, second * x * y + first * z
    rotation[1, 1], rotation[1, 2] = 1 - second * (x * x + z * z), second * y * z - first * x
    rotation[2, 0], rotation[2, 1] = second * x * z - first * y, second * y * z + first * x
    rotation[2, 2] = 1 - second * (x * x + y * y)
    for i in range(3):
        # ∂R/∂vᵢ = (vᵢ [v]× + [v × (I − R) eᵢ]×) R / |v|²; [eᵢ]× R where there is no turn.
        ax, ay, az = 0.0, 0.0, 0.0
        if angle >= 1e-8:
            ux = (1.0 if i == 0 else 0.0) - rotation[0, i]
            uy = (1.0 if i == 1 else 0.0) - rotation[1, i]
            uz = (1.0 if i == 2 else 0.0) - rotation[2, i]
            square = angle * angle
            ax = (vector[i] * x + y * uz - z * uy) / square
            ay = (vector[i] * y + z * ux - x * uz) / square
            az = (vector[i] * z + x * uy - y * ux) / square
        else:
            ax = 1.0 if i == 0 else 0.0
            ay = 1.0 if i == 1 else 0.0
            az = 1.0 if i == 2 else 0.0
        for j in range(3):
            by_vector[i, 0, j] = ay * rotation[2, j] - az * rotation[1, j]
            by_vector[i, 1, j] = az * rotation[0, j] - ax * rotation[2, j]
            by_vector[i, 2, j] = ax * rotation[1, j] - ay * rotation[0, j]


_turn: Callable[..., Any] = compile_kept(_turn_loops)


def _spread_loops(
    parameters: Any, covariance: Any, u_pixels: Any, points: Any, first: Any, second: Any, normal: Any,  # noqa: ANN401
    u_offset: Any, own: Any, common: Any, by_camera: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    """Fill own and camera covariance and camera derivatives of every point; NaN for points behind the camera."""
    rotation, by_vector = np.empty((3, 3)), np.empty((3, 3, 3))
    camera, by_pixel, into = np.empty((2, 15)), np.empty((2, 3)), np.empty((2, 3))
    seen, half = np.empty((2, 15)), np.empty((2, 15))
    for n in range(points.shape[0]):
        c = n if parameters.shape[0] > 1 else 0
        spread = covariance[n if covariance.shape[0] > 1 else 0]
        fx, fy = parameters[c, 0], parameters[c, 1]
        k1, k2, p1, p2, k3 = (
            parameters[c, 4], parameters[c, 5], parameters[c, 6], parameters[c, 7], parameters[c, 8]
        )  # fmt: skip
        if n == 0 or parameters.shape[0] > 1:
            _turn(parameters[c, 9:12], rotation, by_vector)
        for m in range(points.shape[1]):
            x, y, z = points[n, m, 0], points[n, m, 1], points[n, m, 2]
            across = rotation[0, 0] * x + rotation[0, 1] * y + rotation[0, 2] * z + parameters[c, 12]
            down = rotation[1, 0] * x + rotation[1, 1] * y + rotation[1, 2] * z + parameters[c, 13]
            depth = rotation[2, 0] * x + rotation[2, 1] * y + rotation[2, 2] * z + parameters[c, 14]
            if not depth > 1e-9:
                own[n, m] = math.nan
                common[n, m] = math.nan
                by_camera[n, m] = math.nan
                continue
            a, b = across / depth, down / depth
            r2 = a * a + b * b
            radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
            steep = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))
            xx = fx * (radial + steep * a * a + 2 * p1 * b + 6 * p2 * a)
            xy = steep * a * b + 2 * p1 * a + 2 * p2 * b
            yy = fy * (radial + steep * b * b + 6 * p1 * b + 2 * p2 * a)
            # Pixels by places in the camera's frame.
            by_pixel[0, 0], by_pixel[0, 1] = xx / depth, fx * xy / depth
            by_pixel[1, 0], by_pixel[1, 1] = fy * xy / depth, yy / depth
            for i in range(2):
                by_pixel[i, 2] = -a * by_pixel[i, 0] - b * by_pixel[i, 1]
                for j in range(3):
                    into[i, j] = (
                        by_pixel[i, 0] * rotation[0, j] + by_pixel[i, 1] * rotation[1, j]
                        + by_pixel[i, 2] * rotation[2, j]
                    )  # fmt: skip
            camera[:, :4] = 0.0
            camera[0, 0] = a * radial + 2 * p1 * a * b + p2 * (r2 + 2 * a * a)
            camera[1, 1] = b * radial + p1 * (r2 + 2 * b * b) + 2 * p2 * a * b
            camera[0, 2], camera[1, 3] = 1.0, 1.0
            camera[0, 4], camera[1, 4] = fx * a * r2, fy * b * r2
            camera[0, 5], camera[1, 5] = camera[0, 4] * r2, camera[1, 4] * r2
            camera[0, 6], camera[1, 6] = 2 * fx * a * b, fy * (r2 + 2 * b * b)
            camera[0, 7], camera[1, 7] = fx * (r2 + 2 * a * a), 2 * fy * a * b
            camera[0, 8], camera[1, 8] = camera[0, 5] * r2, camera[1, 5] * r2
            for k in range(3):
                turned_x = by_vector[k, 0, 0] * x + by_vector[k, 0, 1] * y + by_vector[k, 0, 2] * z
                turned_y = by_vector[k, 1, 0] * x + by_vector[k, 1, 1] * y + by_vector[k, 1, 2] * z
                turned_z = by_vector[k, 2, 0] * x + by_vector[k, 2, 1] * y + by_vector[k, 2, 2] * z
                for i in range(2):
                    camera[i, 9 + k] = by_pixel[i, 0] * turned_x + by_pixel[i, 1] * turned_y + by_pixel[i, 2] * turned_z
                    camera[i, 12 + k] = by_pixel[i, k]
            at, of = (n if first.shape[0] > 1 else 0), (m if first.shape[1] > 1 else 0)
            pa = into[0, 0] * first[at, of, 0] + into[0, 1] * first[at, of, 1] + into[0, 2] * first[at, of, 2]
            pc = into[1, 0] * first[at, of, 0] + into[1, 1] * first[at, of, 1] + into[1, 2] * first[at, of, 2]
            pb = into[0, 0] * second[at, of, 0] + into[0, 1] * second[at, of, 1] + into[0, 2] * second[at, of, 2]
            pd = into[1, 0] * second[at, of, 0] + into[1, 1] * second[at, of, 1] + into[1, 2] * second[at, of, 2]
            determinant = pa * pd - pb * pc
            if not abs(determinant) >= 1e-12:
                determinant = math.nan
            ia, ib, ic, id_ = pd / determinant, -pb / determinant, -pc / determinant, pa / determinant
            nx = into[0, 0] * normal[at, of, 0] + into[0, 1] * normal[at, of, 1] + into[0, 2] * normal[at, of, 2]
            ny = into[1, 0] * normal[at, of, 0] + into[1, 1] * normal[at, of, 1] + into[1, 2] * normal[at, of, 2]
            off_x, off_y = -(ia * nx + ib * ny) * u_offset[n, m], -(ic * nx + id_ * ny) * u_offset[n, m]
            var_x, var_y = u_pixels[n, m, 0] ** 2, u_pixels[n, m, 1] ** 2
            own[n, m, 0, 0] = ia * ia * var_x + ib * ib * var_y + off_x * off_x
            own[n, m, 0, 1] = ia * ic * var_x + ib * id_ * var_y + off_x * off_y
            own[n, m, 1, 0] = own[n, m, 0, 1]
            own[n, m, 1, 1] = ic * ic * var_x + id_ * id_ * var_y + off_y * off_y
            for k in range(15):
                seen[0, k] = -(ia * camera[0, k] + ib * camera[1, k])
                seen[1, k] = -(ic * camera[0, k] + id_ * camera[1, k])
                by_camera[n, m, 0, k], by_camera[n, m, 1, k] = seen[0, k], seen[1, k]
            half[:] = 0.0
            for j in range(15):
                one, other = seen[0, j], seen[1, j]
                for k in range(15):
                    half[0, k] += one * spread[j, k]
                    half[1, k] += other * spread[j, k]
            for i in range(2):
                for j in range(2):
                    total = 0.0
                    for k in range(15):
                        total += half[i, k] * seen[j, k]
                    common[n, m, i, j] = total


spread_kernel: Callable[..., Any] = compile_kept(_spread_loops)
