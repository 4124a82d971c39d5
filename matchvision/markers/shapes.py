"""How large and how tilted each marker looks: the ellipse of its picture, from the camera."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points, rotation_matrix
from matchvision.markers.poses import Pose
from matchvision.records.camera import Camera
from matchvision.records.tracks import MarkerPlan

_AROUND = np.linspace(0, 2 * np.pi, 8, endpoint=False)


@dataclass(frozen=True, eq=False)
class Shapes:
    """Pictures of m markers.

    Attributes
    ----------
    inverse : (m, 3) float array
        Elements 11, 12, 22 of the matrix M for which dᵀ M d = 1 on the ellipse, d in pixels from its middle.
    radius_px : (m,) float array
        Geometric mean of the half-axes.
    shift_px : (m, 2) float array
        Middle of the picture less the picture of the middle: a circle seen obliquely does not project to an ellipse
        centred on its centre, and where a thick disc's side shows as well, that moves the middle half its breadth.
    """

    inverse: FloatArray
    radius_px: FloatArray
    shift_px: FloatArray


def predict_shapes(camera: Camera, plans: Sequence[MarkerPlan], place_m: FloatArray, axes_m: FloatArray) -> Shapes:
    """Ellipses of markers at places (m, 3) with two unit vectors (m, 2, 3) in the plane of each disc, table frame.

    A sphere counts as a disc that faces the camera.

    Notes
    -----
    Eight points on each rim are projected; the ellipse is that of their second moments. To second order in radius over
    distance their mean lies half way from the picture of the centre to the middle of the ellipse. A disc of stated
    thickness shows its face and, on the far side, that face moved back by the thickness: an outline whose one half is
    moved, and whose middle is moved by half of that.
    Checked by: tests/markers/test_shapes.py::test_a_disc_seen_from_above_is_a_circle_of_the_right_size
    """
    axes = axes_m.copy()
    spheres = np.array([p.sphere for p in plans], dtype=bool)
    if spheres.any():
        axes[spheres] = _facing_axes(camera, place_m[spheres])
    radius = np.array([p.radius_m for p in plans])[:, None, None]
    circle = np.stack([np.cos(_AROUND), np.sin(_AROUND)], axis=1)
    rim = place_m[:, None, :] + radius * np.einsum("ka,mai->mki", circle, axes)
    back = place_m + _thickness_m(plans)[:, None] * _away_from(camera, place_m, axes)
    points = project_points(camera.parameters, np.concatenate([place_m[:, None, :], rim, back[:, None, :]], axis=1))
    points, side_px = points[:, :-1], points[:, -1] - points[:, 0]
    middle = points[:, 1:].mean(axis=1)
    spread = points[:, 1:] - middle[:, None, :]
    moments = 2 * np.einsum("mki,mkj->mij", spread, spread) / len(_AROUND)
    determinant = np.maximum(moments[:, 0, 0] * moments[:, 1, 1] - moments[:, 0, 1] ** 2, 1e-6)
    inverse = np.stack([moments[:, 1, 1], -moments[:, 0, 1], moments[:, 0, 0]], axis=1) / determinant[:, None]
    return Shapes(inverse, determinant**0.25, 2 * (middle - points[:, 0]) + side_px / 2)


def disc_axes(plans: Sequence[MarkerPlan], poses: Mapping[str, Pose]) -> FloatArray:
    """Two unit vectors (m, 2, 3) in the plane of each marker's disc: a wheel's face, else the table."""
    axes = np.tile(np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), (len(plans), 1, 1))
    for i, plan in enumerate(plans):
        if plan.machine in poses:
            pose = poses[plan.machine]
            axes[i] = [pose.forward, pose.up if plan.kind == "rim" else pose.left]
    return axes


def _thickness_m(plans: Sequence[MarkerPlan]) -> FloatArray:
    """Stated thickness of each disc (m,), zero where nothing is stated and of spheres."""
    return np.nan_to_num(np.array([0.0 if p.sphere else p.thickness_m for p in plans], dtype=np.float64))


def _away_from(camera: Camera, place_m: FloatArray, axes: FloatArray) -> FloatArray:
    """Unit vector (m, 3) square to each disc, on the side away from the camera."""
    rotation = rotation_matrix(camera.parameters[9:12])
    sight = place_m + rotation.T @ camera.parameters[12:15]
    normal = np.cross(axes[:, 0], axes[:, 1])
    return np.asarray(normal * np.where((normal * sight).sum(axis=1) > 0, 1.0, -1.0)[:, None], dtype=np.float64)


def _facing_axes(camera: Camera, place_m: FloatArray) -> FloatArray:
    """Two unit vectors across the line of sight, (m, 2, 3)."""
    rotation = rotation_matrix(camera.parameters[9:12])
    centre = -rotation.T @ camera.parameters[12:15]
    sight = place_m - centre
    sight /= np.linalg.norm(sight, axis=1, keepdims=True)
    first = np.cross(sight, np.array([0.0, 0.0, 1.0]))
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-9)
    return np.stack([first, np.cross(sight, first)], axis=1)
