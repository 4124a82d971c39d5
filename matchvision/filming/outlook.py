"""The backdrop as each picture sees it: painted once, and for a hand-held camera carried over by the table's plane."""

from dataclasses import replace

import cv2
import numpy as np

from matchvision.filming.arrays import Array, Picture
from matchvision.filming.backdrop import Backdrop
from matchvision.filming.camera import Lens, Poses, aim, distort, lens_of, undistort
from matchvision.filming.ground import Piece, pieces_of
from matchvision.filming.scene import Scene

SPARE_RATIO = 0.12  # painted beyond each edge of the picture for a camera that sways


class Outlook:
    """Gives each picture's backdrop in linear light."""

    def __init__(self, scene: Scene, lens: Lens, poses: Poses) -> None:
        self.lens, self.poses, self.table = lens, poses, scene.table
        self.moves = scene.camera.sway is not None
        if not self.moves:
            self.painted = Backdrop(scene, lens, poses.at(0)).paint()
            return
        width, height = scene.camera.size_px
        spare = (int(width * SPARE_RATIO) // 2 * 2, int(height * SPARE_RATIO) // 2 * 2)
        wide = replace(
            scene.camera,
            size_px=(width + 2 * spare[0], height + 2 * spare[1]),
            centre_px=(lens.centre_px[0] + spare[0], lens.centre_px[1] + spare[1]),
        )
        rotation, translation = aim(np.array(wide.position_m), np.array(wide.look_at_m), wide.roll_deg)
        self.wide = lens_of(wide)
        self.mean = Poses(rotation[None], translation[None])
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
        pose = self.poses.at(frame)
        col, row, on = None, None, None
        for piece in pieces_of(self.table):
            u, v, x_m = self._followed(pose, piece)
            if col is None or row is None:
                col, row = u, v
            else:
                on = x_m >= piece.from_m
                col, row = np.where(on, u, col), np.where(on, v, row)
        if col is None or row is None:
            return self.painted
        return np.asarray(cv2.remap(self.painted, col, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))

    def _followed(self, pose: Poses, piece: Piece) -> tuple[Picture, Picture, Picture]:
        """Column and row in the painted picture of each ray, by one plane of the table, and the place x it meets."""
        rotation, translation = pose.rotation[0], pose.translation[0]
        turn = self.mean.rotation[0] @ rotation.T
        shift = self.mean.translation[0] - turn @ translation
        # In this camera the plane z = slope · x + height is normal · point = distance.
        normal = rotation @ np.array([-piece.slope, 0.0, 1.0])
        distance = piece.height_m + float(normal @ translation)
        plane = turn + np.outer(shift, normal) / distance
        u, v, w = (self._along(r) for r in plane)
        x, y = distort(u / w, v / w, self.wide.distortion)
        col = (x * self.wide.f_px[0] + self.wide.centre_px[0]).astype(np.float32)
        row = (y * self.wide.f_px[1] + self.wide.centre_px[1]).astype(np.float32)
        if not self.table.profile_m:
            return col, row, col
        reach = distance / self._along(normal)
        return col, row, reach * self._along(rotation[:, 0]) - np.float32(rotation[:, 0] @ translation)

    def _along(self, direction: Array) -> Picture:
        """Product of every ray, at unit distance, with a direction."""
        a, b, c = (np.float32(d) for d in direction)
        return np.asarray(a * self.x + b * self.y + c, dtype=np.float32)
