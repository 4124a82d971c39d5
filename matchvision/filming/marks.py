"""Markers drawn to sub-pixel truth: each is the ellipse of its projected outline, covered area by area."""

from dataclasses import dataclass

import numpy as np

from matchvision.filming.arrays import Array, Picture
from matchvision.filming.camera import OUTLINE, Poses, horizon, lens_of, project_points
from matchvision.filming.course import Course
from matchvision.filming.ground import axes
from matchvision.filming.places import place_everything
from matchvision.filming.scene import Scene
from matchvision.filming.views import Views, poses_of

RAYS = 3  # samples a pixel along each side, each with a soft edge of its own width


@dataclass(frozen=True)
class Ellipses:
    """Outlines in the picture: (p − centre)ᵀ shape (p − centre) = 1, for n moments."""

    centre: Array  # (n, 2) [px]
    shape: Array  # (n, 2, 2) [1/px²]


def fit_ellipses(outline: Array) -> Ellipses:
    """Ellipses through projected outlines of circles, shape (n, k, 2) [px].

    Notes
    -----
    Least squares of a x² + b x y + c y² + d x + e y = 1 about the outline's mean, in units of its spread. A circle's
    perspective picture is an ellipse exactly; lens distortion within one marker is far below the pixels' noise.
    """
    middle = outline.mean(axis=1, keepdims=True)
    unit = np.sqrt(((outline - middle) ** 2).sum(-1).mean(-1))[:, None, None]
    x, y = np.moveaxis((outline - middle) / unit, -1, 0)
    design = np.stack([x * x, x * y, y * y, x, y], axis=-1)
    normal = np.einsum("nki,nkj->nij", design, design)
    a, b, c, d, e = np.linalg.solve(normal, design.sum(axis=1)[..., None])[..., 0].T
    quadratic = np.stack([np.stack([a, b / 2], -1), np.stack([b / 2, c], -1)], -2)
    centre = -0.5 * np.linalg.solve(quadratic, np.stack([d, e], -1)[..., None])[..., 0]
    level = 1 + np.einsum("ni,nij,nj->n", centre, quadratic, centre)
    shape = quadratic / level[:, None, None] / unit**2
    return Ellipses(middle[:, 0] + unit[:, 0] * centre, shape)


def marker_outlines(scene: Scene, course: Course, centre: Array, name: str, eye: Array) -> Array:
    """Outline of a marker in the table frame at each moment, shape (n, 32, 3): a disc's rim or a ball's horizon.

    ``centre`` (n, 3) is where it is then, ``course`` the run at those moments.
    """
    machine_name, _, part = name.partition(".")
    cos, sin = np.cos(OUTLINE), np.sin(OUTLINE)
    if not part:
        return horizon(centre, scene.rope.bead_radius_m, eye)
    machine = scene.machine[machine_name]
    state = course.machines[machine_name]
    forward, left, upward = np.moveaxis(axes(state.heading_rad, state.tilt_rad), -1, 0)[:, :, None]
    for disc in machine.marker:
        if disc.name == part:
            return np.asarray(centre[:, None] + disc.radius_m * (cos[:, None] * forward + sin[:, None] * left))
    radius = next(mark.radius_m for wheel in machine.wheel for mark in wheel.rim if mark.name == part)
    return np.asarray(centre[:, None] + radius * (cos[:, None] * forward + sin[:, None] * upward))


def exposure_moments(scene: Scene, middle_s: Array) -> Array:
    """The moments that are averaged, ``subframes`` of them to an exposure, one after the other."""
    count = scene.camera.subframes
    offsets = scene.camera.exposure_s * ((np.arange(count) + 0.5) / count - 0.5)
    return np.asarray(middle_s[:, None] + offsets).ravel()


def outlines_in_picture(scene: Scene, course: Course, views: Views, pts_s: Array) -> dict[str, Ellipses]:
    """Every marker's ellipse at every moment of every exposure: ``subframes`` of them to a picture."""
    count = scene.camera.subframes
    lens, found = lens_of(scene.camera), {}
    exact = None
    if not scene.camera.readout_s:  # all rows at once: no need for trails
        exact = place_everything(scene, course, exposure_moments(scene, pts_s))
    for name, middles in views.moments.items():
        moments = exposure_moments(scene, middles)
        pose = poses_of(scene, middles)
        poses = Poses(np.repeat(pose.rotation, count, 0), np.repeat(pose.translation, count, 0))
        centre = exact.markers[name] if exact is not None else views.on_trail(name, moments)
        outlines = marker_outlines(scene, course.at(moments), centre, name, poses.position)
        found[name] = fit_ellipses(project_points(outlines, lens, poses))
    return found


def cover(
    ellipses: Ellipses, moments: slice, shape: tuple[int, int], left: int, top: int
) -> tuple[slice, slice, Picture, Picture, Picture]:
    """Share of each pixel covered by a marker, averaged over some moments, within a window.

    Parameters
    ----------
    ellipses : Ellipses
    moments : slice
        Which of the moments are averaged: one exposure's.
    shape : (rows, cols)
        The window's size.
    left, top : int
        The window's first pixel.

    Returns
    -------
    rows, cols : slice
        Where in the window.
    share : array
        Covered share of each pixel there.
    across, down : array
        Place on the marker at the exposure's middle, −1 to 1 over its width and height, for shading.

    Notes
    -----
    Checked by: tests/filming/test_marks.py::test_a_disc_is_drawn_where_it_is
    """
    centre, matrix = ellipses.centre[moments], ellipses.shape[moments]
    half = np.sqrt(np.moveaxis(np.diagonal(np.linalg.inv(matrix), axis1=1, axis2=2), -1, 0)).max(axis=1)
    low = np.floor(centre.min(0) - half - 1).astype(int) - [left, top]
    high = np.ceil(centre.max(0) + half + 1).astype(int) + 1 - [left, top]
    low, high = np.maximum(low, 0), np.minimum(high, shape[::-1])
    width, height = np.maximum(high - low, 0)
    cols = (np.arange(width * RAYS) + 0.5) / RAYS - 0.5 + low[0] + left
    rows = (np.arange(height * RAYS) + 0.5) / RAYS - 0.5 + low[1] + top
    dx = cols[None, None, :] - centre[:, 0, None, None]
    dy = rows[None, :, None] - centre[:, 1, None, None]
    gx = matrix[:, 0, 0, None, None] * dx + matrix[:, 0, 1, None, None] * dy
    gy = matrix[:, 0, 1, None, None] * dx + matrix[:, 1, 1, None, None] * dy
    level = np.sqrt(np.maximum(gx * dx + gy * dy, 1e-12))
    outside_px = (level - 1) * level / np.maximum(np.hypot(gx, gy), 1e-9)
    share = np.clip(0.5 - RAYS * outside_px, 0, 1).mean(axis=0)
    share = share.reshape(height, RAYS, width, RAYS).mean(axis=(1, 3)).astype(np.float32)
    middle = len(centre) // 2
    across = np.broadcast_to(dx[middle, :, 1::RAYS] / half[0], (height, width))
    down = np.broadcast_to(dy[middle, 1::RAYS, :] / half[1], (height, width))
    return (
        slice(low[1], low[1] + height), slice(low[0], low[0] + width),
        share, across.astype(np.float32), down.astype(np.float32),
    )  # fmt: skip
