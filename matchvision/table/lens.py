"""The lens from stills of a printed board, with the covariance that the table's fit takes as prior."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import parameter_jacobian
from matchvision.records.camera import CAMERA_PARAMETERS, Camera
from matchvision.records.sheet import LensSheet
from matchvision.table.boards import BoardView, CharucoBoard, Chessboard, choose_views, look_for_board
from matchvision.table.fitting import invert_information

Luma = npt.NDArray[np.uint8]

#: Stills that must show the board, and stills below which a bad one is kept for want of others.
_VIEWS_NEEDED, _VIEWS_TO_CHOOSE = 4, 6
#: A still this many times worse than the median still is left out.
_BAD_VIEW = 3.0
#: The terms of a lens, and those that a fit may hold at zero.
LENS_TERMS: Final = CAMERA_PARAMETERS[:9]
_FIXABLE: Final = ("p1", "p2", "k3")


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
    cameras : mapping of still to (15,) float array
        Lens and pose of each still that was used: board to camera.
    views : mapping of still to BoardView
        Of all stills, those left out too.
    shift : (9,) float array
        How far leaving out bad stills moved the lens; zero where none was left out.
    """

    sheet: LensSheet
    rms_px: Mapping[str, float]
    left_out: tuple[str, ...]
    cameras: Mapping[str, FloatArray]
    views: Mapping[str, BoardView]
    shift: FloatArray

    @property
    def shift_in_u(self) -> FloatArray:
        """The shift (9,) over the lens's standard uncertainties; 0 for terms held fixed."""
        u = np.sqrt(np.diag(self.sheet.camera.covariance)[:9])
        return np.asarray(np.where(u > 0, self.shift / np.where(u > 0, u, 1.0), 0.0), dtype=np.float64)


def calibrate(images: Mapping[str, Luma], board: Chessboard | CharucoBoard) -> LensFit:
    """Fit a lens to stills of a board, the sharp and different ones where there are many.

    Raises
    ------
    TableError
        When the stills differ in size or fewer than four show the board.

    Notes
    -----
    Checked by: tests/table/test_lens.py::test_clip_of_a_board_gives_a_lens
    """
    views = choose_views(images, look_for_board(images, board))
    rows, cols = next(iter(images.values())).shape
    return fit_views(views, (cols, rows))


def calibrate_lens(images: Mapping[str, Luma], board: tuple[int, int] = (9, 6), square_m: float = 0.025) -> LensSheet:
    """Lens sheet from stills of a chessboard; see `calibrate`."""
    return calibrate(images, Chessboard(board, square_m)).sheet


def fit_lens(
    corners_px: Mapping[str, FloatArray],
    size_px: tuple[int, int],
    board: tuple[int, int],
    square_m: float,
    *,
    fixed_aspect: bool = False,
    choose: bool = True,
) -> LensFit:
    """Fit a lens to the inner corners of a chessboard seen in several stills, row by row as from `find_board`.

    ``square_m`` does not touch the lens, only how far away the boards seem. For the rest see `fit_views`.
    """
    points = Chessboard(board, square_m).points()
    wrong = [name for name, corners in corners_px.items() if corners.shape != (len(points), 2)]
    if wrong:
        raise TableError(
            f"{len(points)} corners of a {board[0]} × {board[1]} board are wanted, found {len(corners_px[wrong[0]])}",
            where=wrong[0],
            do="count the inner corners of the board, along a row first",
        )
    views = {name: BoardView(points, corners) for name, corners in corners_px.items()}
    return fit_views(views, size_px, fixed_aspect=fixed_aspect, choose=choose)


def fit_views(
    views: Mapping[str, BoardView],
    size_px: tuple[int, int],
    *,
    fixed_aspect: bool = False,
    at_zero: Sequence[str] = (),
    choose: bool = True,
) -> LensFit:
    """Fit a lens to a board's points seen in several stills.

    Parameters
    ----------
    views : mapping of still to BoardView
    size_px : (int, int)
        Width and height of the stills.
    fixed_aspect : bool
        Keep both focal lengths equal.
    at_zero : sequence of "p1", "p2", "k3"
        Terms held at zero; p1 and p2 only together.
    choose : bool
        Leave out stills that fit several times worse than the others.

    Notes
    -----
    Z. Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22 (2000) 1330. The covariance is
    s² (JᵀJ)⁻¹ over lens and poses, widened by what the stills disagree more than their corners: a still's corners err
    together, through paper that is not flat.
    Checked by: tests/published/test_chessboard_lens.py::test_focal_length_and_centre
    """
    names = list(views)
    _refuse_few_views(len(names))
    free = _free_terms(at_zero, fixed_aspect=fixed_aspect)
    cameras = _solve_views(views, names, size_px, at_zero, fixed_aspect=fixed_aspect)
    rms = {name: _rms_px(cameras[name], views[name]) for name in names}
    bad: tuple[str, ...] = ()
    shift = np.zeros(9)
    if choose and len(names) >= _VIEWS_TO_CHOOSE:
        bad = tuple(name for name in names if rms[name] > _BAD_VIEW * float(np.median(list(rms.values()))))
        names = [name for name in names if name not in bad]
    if bad:
        before = cameras[names[0]][:9]
        cameras = _solve_views(views, names, size_px, at_zero, fixed_aspect=fixed_aspect)
        rms |= {name: _rms_px(cameras[name], views[name]) for name in names}
        shift = cameras[names[0]][:9] - before
    # Over all corners, for a part of a board in view has fewer of them.
    weights = np.array([len(views[name].points_m) for name in names], dtype=np.float64)
    whole = float(np.sqrt(np.average(np.square([rms[name] for name in names]), weights=weights)))
    covariance = _lens_covariance([(cameras[name], views[name]) for name in names], free)
    parameters = np.concatenate([cameras[names[0]][:9], np.zeros(6)])
    camera = Camera(size_px[0], size_px[1], parameters, covariance)
    return LensFit(LensSheet(camera, len(names), whole), rms, bad, cameras, dict(views), shift)


def _free_terms(at_zero: Sequence[str], *, fixed_aspect: bool) -> FloatArray:
    """Lens (9) from what is fitted: columns of terms held at zero are missing, equal focal lengths share one."""
    wrong = sorted(set(at_zero) - set(_FIXABLE))
    if wrong or ("p1" in at_zero) != ("p2" in at_zero):
        raise TableError(
            f"terms {', '.join(at_zero)} cannot be held at zero", where="lens", do="hold k3, or p1 and p2 together"
        )
    lens_from_free = np.delete(np.eye(9), [LENS_TERMS.index(name) for name in at_zero], axis=1)
    if fixed_aspect:
        lens_from_free = np.delete(lens_from_free, 1, axis=1)
        lens_from_free[1, 0] = 1.0
    return lens_from_free


def _refuse_few_views(count: int) -> None:
    if count < _VIEWS_NEEDED:
        raise TableError(
            f"the whole board is seen in {count} stills, at least {_VIEWS_NEEDED} are needed, better ten",
            where="lens",
            do="count the inner corners (not squares) again; show the whole board with a white rim, sharp, tilted by "
            "20° to 45° one way and the other, and some stills with it near the picture's corners",
        )


def _solve_views(
    views: Mapping[str, BoardView],
    names: Sequence[str],
    size_px: tuple[int, int],
    at_zero: Sequence[str],
    *,
    fixed_aspect: bool,
) -> dict[str, FloatArray]:
    """Cameras (15,) by still, that share their lens."""
    flags = cv2.CALIB_FIX_ASPECT_RATIO if fixed_aspect else 0
    flags |= cv2.CALIB_FIX_K3 if "k3" in at_zero else 0
    flags |= cv2.CALIB_ZERO_TANGENT_DIST if "p1" in at_zero else 0
    guess = np.array([[1.0, 0, size_px[0] / 2], [0, 1.0, size_px[1] / 2], [0, 0, 1.0]])
    seen = [views[name].pixels_px.astype(np.float32).reshape(-1, 1, 2) for name in names]
    known = [views[name].points_m.astype(np.float32) for name in names]
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-12)
    _, matrix, distortion, turns, shifts = cv2.calibrateCamera(
        known, seen, size_px, guess, np.zeros(5), flags=flags, criteria=stop
    )
    lens = [matrix[0, 0], matrix[1, 1], matrix[0, 2], matrix[1, 2], *np.ravel(distortion)[:5]]
    return {
        name: np.array([*lens, *np.ravel(turn), *np.ravel(shift)], dtype=np.float64)
        for name, turn, shift in zip(names, turns, shifts, strict=True)
    }


def _rms_px(camera: FloatArray, view: BoardView) -> float:
    apart = project_points(camera, view.points_m) - view.pixels_px
    return float(np.sqrt(np.mean(np.sum(apart**2, axis=-1))))


def _lens_covariance(stills: Sequence[tuple[FloatArray, BoardView]], lens_from_free: FloatArray) -> FloatArray:
    """Covariance (15, 15) of the lens; rows of the pose are zero.

    Each still's pose is eliminated, which leaves its information on the lens and the pull of its residuals on it. The
    pulls' scatter from still to still, against what independent corners would give, widens the whole.
    """
    size = lens_from_free.shape[1]
    information = np.zeros((size, size))
    pulls, squares, count = [], 0.0, 0
    for camera, view in stills:
        jacobian = parameter_jacobian(camera, view.points_m).reshape(-1, 15)
        apart = (view.pixels_px - project_points(camera, view.points_m)).ravel()
        by_lens, by_pose = jacobian[:, :9] @ lens_from_free, jacobian[:, 9:]
        kept = by_lens - by_pose @ np.linalg.lstsq(by_pose, by_lens, rcond=None)[0]
        information += kept.T @ kept
        pulls.append(kept.T @ apart)
        squares += float(apart @ apart)
        count += len(apart)
    variance = squares / (count - 6 * len(stills) - size)
    inverse = invert_information(information)
    scatter = np.array(pulls)
    together = float(np.trace(inverse @ scatter.T @ scatter)) / variance / size
    widened = variance * max(1.0, together * len(stills) / max(1, len(stills) - 1))
    covariance = np.zeros((15, 15))
    covariance[:9, :9] = widened * lens_from_free @ inverse @ lens_from_free.T
    return covariance
