"""The lens from stills of a chessboard, with the covariance that the table's fit takes as prior."""

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import parameter_jacobian
from matchvision.records.camera import Camera
from matchvision.records.sheet import LensSheet
from matchvision.table.fitting import invert_information

FloatArray = npt.NDArray[np.float64]
Luma = npt.NDArray[np.uint8]

#: Stills that must show the board, and stills below which a bad one is kept for want of others.
_VIEWS_NEEDED, _VIEWS_TO_CHOOSE = 4, 6
#: A still this many times worse than the median still is left out.
_BAD_VIEW = 3.0
#: Widest half window in which a corner is refined [px].
_HALF_WINDOW_PX = 11


@dataclass(frozen=True, eq=False)
class LensFit:
    """A lens and how it came about.

    Attributes
    ----------
    sheet : LensSheet
    rms_px : mapping of still to float
        Residual of each still, over both axes together, as corner distance [px].
    left_out : tuple of str
        Stills that fit several times worse than the others.
    """

    sheet: LensSheet
    rms_px: Mapping[str, float]
    left_out: tuple[str, ...]


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
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    fine = cv2.cornerSubPix(luma, rough, (half_window_px, half_window_px), (-1, -1), stop)
    return np.asarray(fine, dtype=np.float64).reshape(-1, 2)


def calibrate_lens(images: Mapping[str, Luma], board: tuple[int, int] = (9, 6), square_m: float = 0.025) -> LensSheet:
    """Lens sheet from stills of a chessboard; see `fit_lens`.

    Raises
    ------
    TableError
        When the stills differ in size or fewer than four show the whole board.
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
    rows, cols = next(iter(sizes))
    found = {name: find_board(image, board) for name, image in images.items()}
    corners = {name: seen for name, seen in found.items() if seen is not None}
    return fit_lens(corners, (cols, rows), board, square_m).sheet


def fit_lens(
    corners_px: Mapping[str, FloatArray],
    size_px: tuple[int, int],
    board: tuple[int, int],
    square_m: float,
    *,
    fixed_aspect: bool = False,
    choose: bool = True,
) -> LensFit:
    """Fit a lens to the inner corners of a chessboard seen in several stills.

    Parameters
    ----------
    corners_px : mapping of still to (n, 2) float array
        Row by row, as from `find_board`.
    size_px : (int, int)
        Width and height of the stills.
    board : (int, int)
    square_m : float
        Side of a square. It does not touch the lens, only how far away the boards seem.
    fixed_aspect : bool
        Keep both focal lengths equal.
    choose : bool
        Leave out stills that fit several times worse than the others.

    Notes
    -----
    Z. Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22 (2000) 1330. The covariance is
    s² (JᵀJ)⁻¹ over lens and poses, widened by what the stills disagree more than their corners: a still's corners err
    together, through paper that is not flat.
    Checked by: tests/published/test_chessboard_lens.py::test_focal_length_and_centre
    """
    names = list(corners_px)
    _refuse_few_views(len(names))
    points = np.zeros((board[0] * board[1], 3))
    points[:, :2] = square_m * np.mgrid[0 : board[0], 0 : board[1]].T.reshape(-1, 2)
    wrong = [name for name in names if corners_px[name].shape != (len(points), 2)]
    if wrong:
        raise TableError(
            f"{len(points)} corners of a {board[0]} × {board[1]} board are wanted, found {len(corners_px[wrong[0]])}",
            where=wrong[0],
            do="count the inner corners of the board, along a row first",
        )
    cameras = _solve_views([corners_px[name] for name in names], points, size_px, fixed_aspect=fixed_aspect)
    rms = {name: _rms_px(camera, points, corners_px[name]) for name, camera in zip(names, cameras, strict=True)}
    bad: tuple[str, ...] = ()
    if choose and len(names) >= _VIEWS_TO_CHOOSE:
        bad = tuple(name for name in names if rms[name] > _BAD_VIEW * float(np.median(list(rms.values()))))
        names = [name for name in names if name not in bad]
    if bad:
        cameras = _solve_views([corners_px[name] for name in names], points, size_px, fixed_aspect=fixed_aspect)
        rms |= {name: _rms_px(camera, points, corners_px[name]) for name, camera in zip(names, cameras, strict=True)}
    whole = float(np.sqrt(np.mean([rms[name] ** 2 for name in names])))
    covariance = _lens_covariance(cameras, points, [corners_px[name] for name in names], fixed_aspect=fixed_aspect)
    parameters = np.concatenate([cameras[0][:9], np.zeros(6)])
    camera = Camera(size_px[0], size_px[1], parameters, covariance)
    return LensFit(LensSheet(camera, len(names), whole), rms, bad)


def _refuse_few_views(count: int) -> None:
    if count < _VIEWS_NEEDED:
        raise TableError(
            f"the whole chessboard is seen in {count} stills, at least {_VIEWS_NEEDED} are needed, better ten",
            where="lens",
            do="count the inner corners (not squares) again; show the whole board with a white rim, sharp, tilted by "
            "20° to 45° one way and the other, and some stills with it near the picture's corners",
        )


def _solve_views(
    corners_px: list[FloatArray], points_m: FloatArray, size_px: tuple[int, int], *, fixed_aspect: bool
) -> list[FloatArray]:
    """Cameras (15,), one a still, that share their lens."""
    flags = cv2.CALIB_FIX_ASPECT_RATIO if fixed_aspect else 0
    guess = np.array([[1.0, 0, size_px[0] / 2], [0, 1.0, size_px[1] / 2], [0, 0, 1.0]])
    seen = [corners.astype(np.float32).reshape(-1, 1, 2) for corners in corners_px]
    known = [points_m.astype(np.float32)] * len(seen)
    _, matrix, distortion, turns, shifts = cv2.calibrateCamera(known, seen, size_px, guess, np.zeros(5), flags=flags)
    lens = [matrix[0, 0], matrix[1, 1], matrix[0, 2], matrix[1, 2], *np.ravel(distortion)[:5]]
    return [
        np.array([*lens, *np.ravel(turn), *np.ravel(shift)], dtype=np.float64)
        for turn, shift in zip(turns, shifts, strict=True)
    ]


def _rms_px(camera: FloatArray, points_m: FloatArray, corners_px: FloatArray) -> float:
    apart = project_points(camera, points_m) - corners_px
    return float(np.sqrt(np.mean(np.sum(apart**2, axis=-1))))


def _lens_covariance(
    cameras: list[FloatArray], points_m: FloatArray, corners_px: list[FloatArray], *, fixed_aspect: bool
) -> FloatArray:
    """Covariance (15, 15) of the lens; rows of the pose are zero.

    Each still's pose is eliminated, which leaves its information on the lens and the pull of its residuals on it. The
    pulls' scatter from still to still, against what independent corners would give, widens the whole.
    """
    lens_from_free = np.eye(9)
    if fixed_aspect:
        lens_from_free = np.delete(lens_from_free, 1, axis=1)
        lens_from_free[1, 0] = 1.0
    size = lens_from_free.shape[1]
    information = np.zeros((size, size))
    pulls, squares, count = [], 0.0, 0
    for camera, corners in zip(cameras, corners_px, strict=True):
        jacobian = parameter_jacobian(camera, points_m).reshape(-1, 15)
        apart = (corners - project_points(camera, points_m)).ravel()
        by_lens, by_pose = jacobian[:, :9] @ lens_from_free, jacobian[:, 9:]
        kept = by_lens - by_pose @ np.linalg.lstsq(by_pose, by_lens, rcond=None)[0]
        information += kept.T @ kept
        pulls.append(kept.T @ apart)
        squares += float(apart @ apart)
        count += len(apart)
    variance = squares / (count - 6 * len(cameras) - size)
    inverse = invert_information(information)
    scatter = np.array(pulls)
    together = float(np.trace(inverse @ scatter.T @ scatter)) / variance / size
    widened = variance * max(1.0, together * len(cameras) / max(1, len(cameras) - 1))
    covariance = np.zeros((15, 15))
    covariance[:9, :9] = widened * lens_from_free @ inverse @ lens_from_free.T
    return covariance
