"""The start lamp: a ball on a post that is painted into the backdrop, dark or lit."""

import cv2
import numpy as np

from matchvision.filming.arrays import Array, Flags, Picture
from matchvision.filming.backdrop import linear_from_srgb
from matchvision.filming.camera import Lens, Poses, horizon, lens_of, project_points
from matchvision.filming.equipment import Lamp
from matchvision.filming.ground import pieces_of
from matchvision.filming.marks import cover, fit_ellipses
from matchvision.filming.scene import Scene, Table
from matchvision.filming.views import poses_of, row_moments

POST_M = 0.012  # the post's width


def lit_share(scene: Scene, pts_s: float) -> float:
    """Share of one picture's exposure, at the lamp's row, during which the lamp is lit."""
    lamp, on_s = scene.lamp, scene.lamp_on_s
    if lamp is None or on_s is None:
        return 0.0
    row = lamp_place_px(scene, pts_s)[1]
    middle = float(row_moments(scene.camera, np.array([pts_s]), np.array([row]))[0])
    length = max(scene.camera.exposure_s, 1e-6)
    return float(np.clip((middle + length / 2 - on_s) / length, 0, 1))


def lamp_place_px(scene: Scene, pts_s: float) -> Array:
    """Column and row of the lamp's middle in the picture of a time."""
    if scene.lamp is None:
        return np.full(2, np.nan)
    pose = poses_of(scene, np.array([pts_s]))
    return np.asarray(project_points(np.array([[scene.lamp.at_m]]), lens_of(scene.camera), pose)[0, 0])


def paint_lamp(picture: Picture, scene: Scene, lamp: Lamp, lit: float, pose: Poses) -> None:
    """Paint post, ball and glow into a picture of linear light."""
    lens = lens_of(scene.camera)
    _paint_post(picture, scene, lamp, lens, pose)
    centre = np.array([lamp.at_m])
    ellipse = fit_ellipses(project_points(horizon(centre, lamp.radius_m, pose.position), lens, pose))
    rows, cols, share, across, down = cover(ellipse, slice(0, 1), (picture.shape[0], picture.shape[1]), 0, 0)
    colour = linear_from_srgb(lamp.colour).astype(np.float32)
    height = np.sqrt(np.maximum(1 - across**2 - down**2, 0))[..., None]
    dark = colour * (0.12 + 0.10 * height)
    bright = colour * (1.1 + 0.5 * height)
    window = picture[rows, cols]
    window += share[..., None] * ((1 - lit) * dark + lit * bright - window)
    if lit > 0 and share.size:
        col, row = ellipse.centre[0]
        spread = 1.6 * (cols.stop - cols.start) / 2
        reach = int(4 * spread)
        top, left = max(int(row) - reach, 0), max(int(col) - reach, 0)
        part = picture[top : int(row) + reach, left : int(col) + reach]
        v, u = np.mgrid[0 : part.shape[0], 0 : part.shape[1]].astype(np.float32)
        far = ((u + left - col) ** 2 + (v + top - row) ** 2) / np.float32(2 * spread**2)
        part += np.float32(0.25 * lit) * np.exp(-far)[..., None] * colour


def _paint_post(picture: Picture, scene: Scene, lamp: Lamp, lens: Lens, pose: Poses) -> None:
    x, y, z = lamp.at_m
    right = pose.rotation[0, 0] / np.linalg.norm(pose.rotation[0, 0, :2])
    side = POST_M / 2 * np.array([right[0], right[1], 0.0])
    foot = np.array([[x, y, h] for h in np.linspace(z, -scene.table.height_m, 200)])
    free = ~_behind_table(foot, pose.position[0], scene.table)
    last = int(np.argmin(free)) if not free.all() else len(foot)  # the table hides all that lies lower
    if last < 2:
        return
    ends = foot[[0, last - 1]]
    outline = project_points(np.array([ends[0] - side, ends[0] + side, ends[1] + side, ends[1] - side]), lens, pose)
    if not np.isfinite(outline).all():
        return
    mask = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.rint(outline * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
    share = (mask.astype(np.float32) / 255)[..., None]
    picture += share * (linear_from_srgb("#3c3f42").astype(np.float32) - picture)


def _behind_table(points: Array, eye: Array, table: Table) -> Flags:
    """Which points (n, 3) the camera sees through the table's top."""
    hidden = np.zeros(len(points), bool)
    for piece in pieces_of(table):
        below = points[:, 2] - piece.height_m - piece.slope * points[:, 0]
        above = eye[2] - piece.height_m - piece.slope * eye[0]
        part = above / np.where(below < 0, above - below, np.inf)
        x, y = (eye[a] + part * (points[:, a] - eye[a]) for a in (0, 1))
        on = (x >= piece.from_m) & (x <= piece.to_m) & (np.abs(y) <= table.width_m / 2)
        hidden |= (below < 0) & on
    return hidden
