"""Printed boards of known points: chessboards, and ChArUco boards, of which a part in the picture is enough."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import TableError

Luma = npt.NDArray[np.uint8]

#: Widest half window in which a corner is refined [px].
_HALF_WINDOW_PX = 11
#: Fewest corners of a ChArUco board that make a view.
_FEWEST_CORNERS = 8
#: Marker families of ChArUco boards, by the name under which board generators offer them.
MARKER_FAMILIES: Final[Mapping[str, int]] = {
    "4x4_50": cv2.aruco.DICT_4X4_50,
    "5x5_100": cv2.aruco.DICT_5X5_100,
    "6x6_250": cv2.aruco.DICT_6X6_250,
    "36h11": cv2.aruco.DICT_APRILTAG_36h11,
}


@dataclass(frozen=True, eq=False)
class BoardView:
    """Known points of a board as one still shows them.

    Attributes
    ----------
    points_m : (n, 3) float array
        In the board's own frame, z = 0.
    pixels_px : (n, 2) float array
    """

    points_m: FloatArray
    pixels_px: FloatArray


@dataclass(frozen=True)
class Chessboard:
    """Inner corners along a row, and rows; side of a square [m]."""

    corners: tuple[int, int]
    square_m: float

    def points(self) -> FloatArray:
        """Inner corners (n, 3) [m], row by row."""
        points = np.zeros((self.corners[0] * self.corners[1], 3))
        points[:, :2] = self.square_m * np.mgrid[0 : self.corners[0], 0 : self.corners[1]].T.reshape(-1, 2)
        return points

    def look(self, luma: Luma) -> BoardView | None:
        """The board in a still; None where it is not wholly seen."""
        found = find_board(luma, self.corners)
        return None if found is None else BoardView(self.points(), found)


@dataclass(frozen=True)
class CharucoBoard:
    """A chessboard whose white squares hold markers.

    ``squares``: along a row, and rows; sides of a square and of a marker [m]; ``family`` is one of `MARKER_FAMILIES`.
    """

    squares: tuple[int, int]
    square_m: float
    marker_m: float
    family: str = "6x6_250"

    def look(self, luma: Luma) -> BoardView | None:
        """The board in a still, or the part of it that is seen; None where that is less than eight corners.

        Notes
        -----
        Corners are refined as those of chessboards are, in a window that no neighbour enters. Boards of an even number
        of rows come in two patterns; the one whose markers fit is taken.
        Checked by: tests/published/test_charuco_board.py::test_corners_lie_on_the_published_board
        """
        best: BoardView | None = None
        for old in (False, True):
            view = self._look(luma, old=old)
            if view is not None and (best is None or len(view.points_m) > len(best.points_m)):
                best = view
        return best

    def _look(self, luma: Luma, *, old: bool) -> BoardView | None:
        family = cv2.aruco.getPredefinedDictionary(MARKER_FAMILIES[self.family])
        board = cv2.aruco.CharucoBoard(self.squares, self.square_m, self.marker_m, family)
        board.setLegacyPattern(old)
        corners, numbers, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(luma)
        if corners is None or numbers is None or len(numbers) < _FEWEST_CORNERS:
            return None
        points = np.asarray(board.getChessboardCorners(), dtype=np.float64)[np.ravel(numbers)]
        rough = np.asarray(corners, dtype=np.float32).reshape(-1, 1, 2)
        spread = np.linalg.svd(points[:, :2] - points[:, :2].mean(axis=0), compute_uv=False)
        if spread[1] < 0.5 * self.square_m:
            return None  # all on one line of the board
        gaps = np.linalg.norm(rough - rough.reshape(1, -1, 2), axis=-1)
        # Markers come nearer to a corner than other corners do.
        free = min(0.225, 0.45 * (1 - self.marker_m / self.square_m))
        half = int(np.clip(free * float(np.min(gaps[gaps > 0])), 2, _HALF_WINDOW_PX))
        return BoardView(points, _refine(luma, rough, half))


def describe_board(
    counted: tuple[int, int], square_mm: float, marker_mm: float | None = None, family: str = "6x6_250"
) -> Chessboard | CharucoBoard:
    """The board as people tell of it: a chessboard by its inner corners, a ChArUco board by its squares.

    Raises
    ------
    TableError
        When markers do not fit into squares.
    """
    if marker_mm is None:
        return Chessboard(counted, square_mm / 1000)
    if marker_mm >= square_mm:
        raise TableError(
            f"markers of {marker_mm:g} mm do not fit into squares of {square_mm:g} mm",
            where="--marker-mm",
            do="measure both on the print: the marker's black square lies inside a white square",
        )
    return CharucoBoard(counted, square_mm / 1000, marker_mm / 1000, family)


def find_board(luma: Luma, board: tuple[int, int], half_window_px: int | None = None) -> FloatArray | None:
    """Inner corners (n, 2) [px] of a chessboard, row by row; None where the whole board is not seen.

    Parameters
    ----------
    luma : (rows, cols) uint8 array
    board : (int, int)
        Inner corners along a row, and rows.
    half_window_px : int or None
        Half the window in which a corner is refined; None takes just under half the smallest distance of two corners,
        11 at most, so that no neighbour gets in.
    """
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE
    whole, rough = cv2.findChessboardCorners(luma, board, flags=flags)
    if not whole or rough is None:
        return None
    if half_window_px is None:
        grid = np.asarray(rough, dtype=np.float64).reshape(board[1], board[0], 2)
        gaps = [float(np.min(np.linalg.norm(np.diff(grid, axis=k), axis=-1))) for k in (0, 1)]
        half_window_px = int(np.clip(0.45 * min(gaps), 2, _HALF_WINDOW_PX))
    return _refine(luma, np.asarray(rough, dtype=np.float32), half_window_px)


def _refine(luma: Luma, rough: npt.NDArray[np.float32], half_window_px: int) -> FloatArray:
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    fine = cv2.cornerSubPix(luma, rough, (half_window_px, half_window_px), (-1, -1), stop)
    return np.asarray(fine, dtype=np.float64).reshape(-1, 2)


def look_for_board(images: Mapping[str, Luma], board: Chessboard | CharucoBoard) -> dict[str, BoardView]:
    """Views of the board by still, of those that show it.

    Raises
    ------
    TableError
        Where there are no stills, or stills of different size.
    """
    if not images:
        raise TableError(
            "no stills were given", do="take ten stills of the chessboard, tilted and near the corners too"
        )
    sizes = {image.shape for image in images.values()}
    if len(sizes) > 1:
        told = ", ".join(f"{cols} × {rows}" for rows, cols in sorted(sizes))
        raise TableError(
            f"the stills differ in size: {told}",
            where=next(iter(images)),
            do="take all stills in the mode in which the clip is filmed, without turning the camera",
        )
    found = {name: board.look(image) for name, image in images.items()}
    return {name: view for name, view in found.items() if view is not None}


def choose_views(images: Mapping[str, Luma], views: Mapping[str, BoardView], at_most: int = 20) -> dict[str, BoardView]:
    """The sharp views that differ most, for a clip shows the board in hundreds that are nearly the same.

    Blurred ones are left out (below 0.6 of the median sharpness); of the others, each next one is that which lies
    furthest from those chosen, by place, size and tilt of the board in the picture.
    """
    if len(views) <= at_most:
        return dict(views)
    names = list(views)
    sharp = np.array([_sharpness(images[name], views[name].pixels_px) for name in names])
    fine = [k for k in range(len(names)) if sharp[k] >= 0.6 * np.median(sharp)]
    rows, cols = next(iter(images.values())).shape
    shapes = np.array([_shape(views[names[k]].pixels_px, max(rows, cols)) for k in fine])
    chosen = [int(np.argmax(sharp[fine]))]
    while len(chosen) < min(at_most, len(fine)):
        apart = np.linalg.norm(shapes[:, None] - shapes[chosen], axis=-1).min(axis=1)
        chosen.append(int(np.argmax(apart)))
    return {names[fine[k]]: views[names[fine[k]]] for k in sorted(chosen)}


def _sharpness(luma: Luma, pixels_px: FloatArray) -> float:
    """Mean square of the picture's bend around the corners, over the square of its contrast there."""
    low, high = np.floor(pixels_px.min(axis=0)).astype(int), np.ceil(pixels_px.max(axis=0)).astype(int)
    part = luma[max(low[1], 0) : high[1] + 1, max(low[0], 0) : high[0] + 1]
    return float(np.var(cv2.Laplacian(part, cv2.CV_64F)) / max(float(np.var(part)), 1.0))


def _shape(pixels_px: FloatArray, longer_px: int) -> FloatArray:
    """Middle, spread and skew of a board in the picture, as shares of the picture."""
    away = (pixels_px - pixels_px.mean(axis=0)) / longer_px
    second = away.T @ away / len(away)
    third = np.cbrt(np.mean(away**3, axis=0))  # a tilted board is not even about its middle
    values = [*(pixels_px.mean(axis=0) / longer_px), *np.sqrt(np.diag(second)), *(2 * third)]
    return np.array([*values, np.sign(second[0, 1]) * np.sqrt(abs(second[0, 1]))])
