"""Lens from chessboard stills of known lens, and what is refused."""

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.errors import TableError
from matchvision.geometry.camera import project_points
from matchvision.records.sheet import LensSheet
from matchvision.table.boards import (
    MARKER_FAMILIES,
    BoardView,
    CharucoBoard,
    Chessboard,
    choose_views,
    describe_board,
    find_board,
    look_for_board,
)
from matchvision.table.lens import calibrate, calibrate_lens, fit_lens, fit_views
from matchvision.table.skew import fit_skew
from tests.truth import SAMPLE_CLIPS, read_truth_facts

BOARD = (9, 6)
Luma = npt.NDArray[np.uint8]


@cache
def stills() -> dict[str, Luma]:
    found = sorted((SAMPLE_CLIPS / "lens").glob("*.png"))
    return {p.name: np.asarray(cv2.imread(str(p), cv2.IMREAD_GRAYSCALE), dtype=np.uint8) for p in found}


@cache
def lens() -> LensSheet:
    return calibrate_lens(stills(), BOARD, 0.030)


def true_lens() -> npt.NDArray[np.float64]:
    facts = read_truth_facts(SAMPLE_CLIPS / "flat-match")["camera"]
    k = facts["K"]
    return np.array([k[0][0], k[1][1], k[0][2], k[1][2], *facts["dist_k1_k2_p1_p2_k3"]])


def test_lens_of_the_stills_is_found() -> None:
    apart = lens().camera.parameters[:9] - true_lens()
    assert np.all(np.abs(apart[:4]) < 0.6)
    assert lens().views == 12
    assert lens().rms_px < 0.15


def test_stated_uncertainty_of_the_lens_is_true() -> None:
    apart = lens().camera.parameters[:9] - true_lens()
    covariance = lens().camera.covariance[:9, :9]
    scaled = float(np.sqrt(apart @ np.linalg.solve(covariance, apart) / 9))
    assert 0.3 < scaled < 1.8
    assert np.all(lens().camera.covariance[9:] == 0)


def test_uncertainty_holds_over_many_drawn_calibrations() -> None:
    """Corner noise of 0.1 px, twelve random views, 40 lenses: errors over uncertainties near 1 for f and centre."""
    rng = np.random.default_rng(6)
    points = np.zeros((54, 3))
    points[:, :2] = 0.03 * (np.mgrid[0:9, 0:6].T.reshape(-1, 2) - [4, 2.5])
    scaled = []
    for _ in range(40):
        truth = np.array([985.0, 986, 642, 357, -0.05, 0.01, 3e-4, 0, 0])
        views: dict[str, npt.NDArray[np.float64]] = {}
        while len(views) < 12:
            pose = [*rng.uniform(-0.6, 0.6, size=3), *rng.uniform([-0.15, -0.08, 0.4], [0.15, 0.08, 0.6])]
            seen = project_points(np.array([*truth, *pose]), points)
            if np.all((seen > 5) & (seen < [1275, 715])):
                views[str(len(views))] = seen + 0.1 * rng.normal(size=seen.shape)
        fit = fit_lens(views, (1280, 720), BOARD, 0.03).sheet.camera
        scaled.append((fit.parameters[:4] - truth[:4]) / np.sqrt(np.diag(fit.covariance)[:4]))
    assert 0.7 < np.sqrt(np.mean(np.square(scaled))) < 1.2


def test_size_of_the_squares_does_not_touch_the_lens() -> None:
    other = calibrate_lens(stills(), BOARD, 0.025)
    np.testing.assert_allclose(other.camera.parameters[:4], lens().camera.parameters[:4], atol=0.01)


def test_spoilt_still_is_left_out() -> None:
    corners = {name: found for name, still in stills().items() if (found := find_board(still, BOARD)) is not None}
    rng = np.random.default_rng(7)
    spoilt = dict(corners)
    spoilt["chess_04.png"] = corners["chess_04.png"] + rng.normal(size=(54, 2))
    fit = fit_lens(spoilt, (1280, 720), BOARD, 0.03)
    assert fit.left_out == ("chess_04.png",)
    assert fit.sheet.views == 11
    assert abs(fit.sheet.camera.parameters[0] - 985) < 0.8


def test_wrong_board_is_refused_with_what_to_do() -> None:
    some = dict(list(stills().items())[:5])
    with pytest.raises(TableError, match="0 stills") as raised:
        calibrate_lens(some, (8, 5), 0.03)
    assert "inner corners" in raised.value.do


def test_too_few_stills_are_refused() -> None:
    with pytest.raises(TableError, match="3 stills"):
        calibrate_lens(dict(list(stills().items())[:3]), BOARD, 0.03)
    with pytest.raises(TableError, match="no stills"):
        calibrate_lens({}, BOARD, 0.03)


def test_stills_of_different_size_are_refused() -> None:
    mixed = dict(stills())
    mixed["chess_05.png"] = mixed["chess_05.png"][:, :1000]
    with pytest.raises(TableError, match=r"1000 × 720.*1280 × 720|1280 × 720.*1000 × 720"):
        calibrate_lens(mixed, BOARD, 0.03)


def test_corner_list_of_another_board_is_refused() -> None:
    corners = {str(k): np.zeros((40, 2)) for k in range(5)}
    with pytest.raises(TableError, match="54 corners of a 9 × 6 board"):
        fit_lens(corners, (1280, 720), BOARD, 0.03)


def test_clip_of_a_board_gives_a_lens() -> None:
    """Every still thrice, and blurred copies, as in a clip: the sharp and different ones win."""
    many: dict[str, Luma] = {}
    for name, still in stills().items():
        for k in range(3):
            many[f"{name} {k}"] = still
        many[f"{name} blurred"] = np.asarray(cv2.GaussianBlur(still, (0, 0), 2.5), dtype=np.uint8)
    views = look_for_board(many, Chessboard(BOARD, 0.03))
    chosen = choose_views(many, views, at_most=12)
    assert not any("blurred" in name for name in chosen)
    assert {name.split()[0] for name in chosen} == set(stills())
    fit = fit_views(chosen, (1280, 720))
    np.testing.assert_allclose(fit.sheet.camera.parameters[:4], lens().camera.parameters[:4], atol=1e-6)


def draw_charuco(camera: npt.NDArray[np.float64], board: CharucoBoard) -> Luma:
    """The board as a camera (15,) sees it, through a homography: its lens must have no distortion."""
    print_px = 60
    family = cv2.aruco.getPredefinedDictionary(MARKER_FAMILIES[board.family])
    pattern = cv2.aruco.CharucoBoard(board.squares, board.square_m, board.marker_m, family)
    sheet = pattern.generateImage((board.squares[0] * print_px, board.squares[1] * print_px))
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * board.squares
    there = project_points(camera, np.column_stack([corners * board.square_m, np.zeros(4)]))
    turn = cv2.getPerspectiveTransform((corners * print_px - 0.5).astype(np.float32), there.astype(np.float32))
    seen = cv2.warpPerspective(sheet, turn, (1280, 720), flags=cv2.INTER_AREA, borderValue=255)
    return np.asarray(cv2.GaussianBlur(seen, (0, 0), 0.8), dtype=np.uint8)


def test_charuco_board_partly_in_view_gives_a_lens() -> None:
    rng = np.random.default_rng(8)
    board = describe_board((7, 5), 40.0, 30.0, "5x5_100")
    assert isinstance(board, CharucoBoard)
    truth = np.array([985.0, 985, 642, 357, 0, 0, 0, 0, 0])
    images = {}
    for k in range(12):
        pose = [*rng.uniform([-0.6, -0.6, -0.3], [0.6, 0.6, 0.3]), *rng.uniform([-0.3, -0.2, 0.3], [0.0, 0.0, 0.5])]
        images[str(k)] = draw_charuco(np.array([*truth, *pose]), board)
    fit = calibrate(images, board)
    assert any(len(view.points_m) < 24 for view in fit.views.values())
    u = np.sqrt(np.diag(fit.sheet.camera.covariance)[:4])
    assert np.all(np.abs(fit.sheet.camera.parameters[:4] - truth[:4]) < np.maximum(4 * u, 0.5))
    assert np.all(u < 3)
    assert fit.sheet.rms_px < 0.2


def test_markers_larger_than_their_squares_are_refused() -> None:
    with pytest.raises(TableError, match="do not fit"):
        describe_board((7, 5), 30.0, 40.0)


def test_skew_is_said_where_it_is_real() -> None:
    """Columns that lean by 3 px over a focal length, and none that do."""
    points = np.zeros((54, 3))
    points[:, :2] = 0.03 * (np.mgrid[0:9, 0:6].T.reshape(-1, 2) - [4, 2.5])
    rng = np.random.default_rng(8)
    lens = [985.0, 986, 642, 357, -0.05, 0.01, 3e-4, 0, 0]
    poses = [[*rng.uniform(-0.5, 0.5, size=3), *rng.uniform([-0.1, -0.05, 0.5], [0.1, 0.05, 0.6])] for _ in range(10)]
    for skew_px in (0.0, 3.0):
        views = {}
        for k, pose in enumerate(poses):
            seen = project_points(np.array([*lens, *pose]), points)
            seen[:, 0] += skew_px * (seen[:, 1] - lens[3]) / lens[1]
            views[str(k)] = BoardView(points, seen + 0.1 * rng.normal(size=seen.shape))
        found = fit_skew(fit_views(views, (1280, 720)))
        assert abs(found.skew_px - skew_px) < 3 * found.u_skew_px
        assert found.u_skew_px < 0.3
        assert (found.warning is None) == (skew_px == 0)


def test_only_higher_terms_can_be_held_at_zero() -> None:
    view = BoardView(np.zeros((54, 3)), np.zeros((54, 2)))
    with pytest.raises(TableError, match="k1"):
        fit_views({str(k): view for k in range(4)}, (1280, 720), at_zero=("k1",))
