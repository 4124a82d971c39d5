"""The backdrop as each picture sees it: painted once, and for a hand-held camera carried over by the table's plane."""

from dataclasses import replace

import cv2
import numpy as np

from matchvision.filming.arrays import Array, Picture
from matchvision.filming.backdrop import Backdrop
from matchvision.filming.camera import Lens, Poses, distort, lens_of, still_pose, undistort
from matchvision.filming.ground import Piece, pieces_of
from matchvision.filming.scene import Scene
from matchvision.filming.views import poses_of, row_moments

SPARE_RATIO = 0.12  # painted beyond each edge of the picture for a camera that sways


class Outlook:
    """Gives each picture's backdrop in linear light."""

    def __init__(self, scene: Scene, lens: Lens, pts_s: Array) -> None:
        self.scene, self.table, self.pts_s = scene, scene.table, pts_s
        self.moves = scene.camera.sway is not None
        self.mean = still_pose(scene.camera)
        if not self.moves:
            self.painted = Backdrop(scene, lens, self.mean).paint()
            return
        width, height = scene.camera.size_px
        spare = (int(width * SPARE_RATIO) // 2 * 2, int(height * SPARE_RATIO) // 2 * 2)
        wide = replace(
            scene.camera,
            size_px=(width + 2 * spare[0], height + 2 * spare[1]),
            centre_px=(lens.centre_px[0] + spare[0], lens.centre_px[1] + spare[1]),
        )
        self.wide = lens_of(wide)
        self.painted = Backdrop(replace(scene, camera=wide), self.wide, self.mean).paint()
        col, row = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
        x, y = (col - lens.centre_px[0]) / lens.f_px[0], (row - lens.centre_px[1]) / lens.f_px[1]
        self.x, self.y = (np.asarray(v, dtype=np.float32) for v in undistort(x, y, lens.distortion))

    def seen(self, frame: int) -> Picture:
        """Backdrop of one picture.

        Notes
        -----
        For a swaying camera every ray is followed to the table's surface and from there to the painted picture, by the
        homography R + t nᵀ/d of each of the surface's planes. What lies on the table is exact; what lies beyond it
        moves as if painted on those planes.

        Checked by: tests/filming/test_film.py::test_tags_are_where_the_camera_sees_them
        """
        if not self.moves:
            return self.painted
        camera = self.scene.camera
        rows = np.arange(float(camera.size_px[1])) if camera.readout_s else np.full(1, (camera.size_px[1] - 1) / 2)
        poses = poses_of(self.scene, row_moments(camera, self.pts_s[frame], rows))
        first, *others = pieces_of(self.table)
        col, row, _ = self._followed(poses, first)
        for piece in others:
            u, v, x_m = self._followed(poses, piece)
            on = x_m >= piece.from_m
            col, row = np.where(on, u, col), np.where(on, v, row)
        return np.asarray(cv2.remap(self.painted, col, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))

    def _followed(self, poses: Poses, piece: Piece) -> tuple[Picture, Picture, Picture]:
        """Column and row in the painted picture of each ray, by one plane of the table, and the place x it meets.

        Poses: one for each row, or one for all.
        """
        turn = self.mean.rotation[0] @ poses.rotation.swapaxes(1, 2)
        shift = self.mean.translation[0] - np.einsum("nij,nj->ni", turn, poses.translation)
        # In these cameras the plane z = slope · x + height is normal · point = distance.
        normal = poses.rotation @ np.array([-piece.slope, 0.0, 1.0])
        distance = piece.height_m + (normal * poses.translation).sum(axis=1)
        plane = turn + shift[:, :, None] * (normal / distance[:, None])[:, None]
        u, v, w = (self._along(plane[:, axis]) for axis in range(3))
        x, y = distort(u / w, v / w, self.wide.distortion)
        col = (x * self.wide.f_px[0] + self.wide.centre_px[0]).astype(np.float32)
        row = (y * self.wide.f_px[1] + self.wide.centre_px[1]).astype(np.float32)
        if not self.table.profile_m:
            return col, row, col
        ahead = poses.rotation[..., 0]  # the table's x axis in these cameras
        reach = distance.astype(np.float32)[:, None] / self._along(normal)
        start = (ahead * poses.translation).sum(axis=1).astype(np.float32)
        return col, row, reach * self._along(ahead) - start[:, None]

    def _along(self, direction: Array) -> Picture:
        """Product of every ray, at unit distance, with a direction for each row or one for all."""
        a, b, c = direction.astype(np.float32).T[..., None]
        return np.asarray(a * self.x + b * self.y + c, dtype=np.float32)
