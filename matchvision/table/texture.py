"""The table's own grain and marks: what carries a hand-held camera's pose through frames whose tags are covered.

Points are taken from the last picture whose tags were clean, where the camera, and so each point's place, is known, and
each later picture is held against that same one: nothing adds up from frame to frame.
"""

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_at_height, project_points
from matchvision.geometry.placing import parameter_jacobian
from matchvision.geometry.profile import surface_height
from matchvision.records.sheet import TableSheet
from matchvision.table.fitting import invert_information

Luma = npt.NDArray[np.uint8]

#: Points taken, and fewest that must agree for a pose to count as seen.
_POINTS, _FEWEST = 240, 16
#: They must spread over this share of the table's length and width: a patch tells no tilt.
_SPREAD_SHARE = 0.25
#: Least distance of two points, and rim of the table left out, as shares of its width.
_APART_PX, _RIM_SHARE = 14, 0.04
#: What differs from the shade around by so many times the usual, and by so many luma steps, is no grain but a thing on
#: the table; points keep away from it by half of this [px].
_STRANGE, _LEAST_STRANGE, _AROUND_PX = 6.0, 12.0, 31
#: A point found again from the new picture must come back to this [px]; noise of one point is no less than this [px].
_BACK_PX, _LEAST_NOISE_PX = 0.4, 0.1
#: Grain is faint, so windows are wide [px].
_WINDOW_PX = (31, 31)
#: Neighbouring points err together, through grain that is seen alike and shades that move: so many count as one.
_TOGETHER = 4
#: A point this many times the median off is on a machine, the rope or a hand.
_STRAY = 4.0


class TableTexture:
    """Points on the table of one picture, found again in others."""

    def __init__(self, luma: Luma, camera: FloatArray, table: TableSheet) -> None:
        self._luma = luma
        self._pixels = _pick_points(luma, camera, table)
        self._size_m = (table.length_m, table.width_m)
        z = np.zeros(len(self._pixels))
        for _ in range(8 if table.profile_m else 1):
            self._points = place_at_height(camera, self._pixels, z)
            z = surface_height(table.profile_m, np.nan_to_num(self._points[:, 0]))

    def find_pose(self, luma: Luma, camera: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        """Pose (6,) and its own covariance (6, 6) in a picture, or None where too little of the table is found again.

        Parameters
        ----------
        luma : (rows, cols) uint8 array
        camera : (15,) float array
            Where the camera is expected.

        Notes
        -----
        Lucas and Kanade's tracker from the reference picture, there and back; then Gauss–Newton on the pose with points
        that stray left out. The covariance is that of the step from the reference picture, whose own comes on top.
        Checked by: tests/table/test_texture.py::test_covered_tags_are_bridged_by_the_tables_grain
        """
        if len(self._pixels) < _FEWEST:
            return None
        start = self._pixels.astype(np.float32).reshape(-1, 1, 2)
        guess = np.nan_to_num(project_points(camera, self._points)).astype(np.float32).reshape(-1, 1, 2)
        there, found = _track(self._luma, luma, start, guess)
        back, again = _track(luma, self._luma, there, start)
        fine = found & again
        fine &= np.linalg.norm((back - start)[:, 0], axis=-1) < _BACK_PX
        pixels = np.asarray(there, dtype=np.float64)[:, 0]
        return self._solve(pixels, fine, camera)

    def _solve(
        self, pixels: FloatArray, fine: npt.NDArray[np.bool_], camera: FloatArray
    ) -> tuple[FloatArray, FloatArray] | None:
        camera = camera.copy()
        for turn in range(6):
            apart = pixels - project_points(camera, self._points)
            if turn:  # from the guess all points may be off together
                off = np.linalg.norm(apart, axis=-1)
                fine = fine & (off < _STRAY * max(float(np.median(off[fine])), _LEAST_NOISE_PX))
            if np.sum(fine) < _FEWEST or np.any(np.ptp(self._points[fine, :2], axis=0) < self._wanted_spread()):
                return None
            by_pose = parameter_jacobian(camera, self._points[fine])[..., 9:].reshape(-1, 6)
            information = by_pose.T @ by_pose
            camera[9:] += invert_information(information) @ (by_pose.T @ apart[fine].ravel())
        left = (pixels - project_points(camera, self._points))[fine]
        noise_px = max(float(np.sqrt(np.sum(left**2) / (left.size - 6))), _LEAST_NOISE_PX)
        return camera[9:], _TOGETHER * noise_px**2 * invert_information(information)

    def _wanted_spread(self) -> FloatArray:
        return _SPREAD_SHARE * np.array(self._size_m)


def _track(
    first: Luma, second: Luma, start: npt.NDArray[np.float32], guess: npt.NDArray[np.float32]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
    """Where points (n, 1, 2) of one picture lie in another, and which were found."""
    there, found, _ = cv2.calcOpticalFlowPyrLK(
        first, second, start, guess.copy(), winSize=_WINDOW_PX, maxLevel=2, flags=cv2.OPTFLOW_USE_INITIAL_FLOW
    )
    return np.asarray(there, dtype=np.float32), np.ravel(np.asarray(found)) == 1


def _pick_points(luma: Luma, camera: FloatArray, table: TableSheet) -> FloatArray:
    """Distinct points (n, 2) [px] on the table's surface."""
    rim = _RIM_SHARE * table.width_m
    x, y = table.length_m / 2 - rim, table.width_m / 2 - rim
    along = np.linspace(-1, 1, 24)
    loop = np.concatenate(
        [
            np.column_stack([x * along, np.full(24, -y)]),
            np.column_stack([np.full(24, x), y * along]),
            np.column_stack([-x * along, np.full(24, y)]),
            np.column_stack([np.full(24, -x), -y * along]),
        ]
    )
    outline = project_points(camera, np.column_stack([loop, surface_height(table.profile_m, loop[:, 0])]))
    if not np.all(np.isfinite(outline)):
        return np.empty((0, 2))
    mask = np.zeros(luma.shape, dtype=np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 255)
    found = cv2.goodFeaturesToTrack(luma, _POINTS, 0.01, _APART_PX, mask=_bare(luma, mask), blockSize=5)
    return np.empty((0, 2)) if found is None else np.asarray(found, dtype=np.float64).reshape(-1, 2)


def _bare(luma: Luma, mask: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """The part of a mask where the table is bare: what differs much from the table's shade there stands on it."""
    shade = cv2.medianBlur(cv2.resize(luma, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA), 31)
    shade = cv2.resize(shade, (luma.shape[1], luma.shape[0]), interpolation=cv2.INTER_LINEAR)
    apart = cv2.absdiff(luma, shade)
    inside = apart[mask > 0]
    strange = (apart > max(_STRANGE * float(np.median(inside)) if len(inside) else 0.0, _LEAST_STRANGE)).astype(
        np.uint8
    )
    around = cv2.dilate(strange, np.ones((_AROUND_PX, _AROUND_PX), dtype=np.uint8))
    return np.asarray(np.where(around > 0, 0, mask), dtype=np.uint8)
