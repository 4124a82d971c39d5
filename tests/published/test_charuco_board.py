"""Corners of a ChArUco board in a photograph, against the board's printed geometry and a published camera.

Source: OpenCV's sample data for the aruco module, choriginal.jpg and tutorial_camera_charuco.yml (Apache-2.0, formerly
3-clause BSD): a board of 5 x 7 squares of 0.04 m with markers of 0.02 m (family 6x6_250), and the camera that took it.
Checks: `CharucoBoard.look`, `undistort`, `project_points` (through our own pose fit).
Values as printed: 4 x 6 = 24 inner corners; camera 452.511, 456.767, 317.703, 277.752 with distortion (0.121369,
-1.085467, 1.17868e-4, -4.62407e-4, 2.954259); its mean reprojection error is 0.18 px.
Tolerance: the plane's residual was measured as 0.18 mm rms and 0.35 mm at most with the published lens (seen); 0.25 mm
and 0.6 mm are allowed, for corners depend on the refinement's window.
How obtained: seen. The photograph is read only where it is at hand.
"""

import os
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import least_squares

from matchvision.geometry.camera import place_at_height, project_points
from matchvision.table.boards import CharucoBoard

LENS = np.array([452.5107, 456.7671, 317.7030, 277.7516, 0.121369, -1.085467, 1.17868e-4, -4.62407e-4, 2.954259])
BOARD = CharucoBoard((5, 7), 0.04, 0.02)


def photograph() -> npt.NDArray[np.uint8]:
    material = os.environ.get("MATCHVISION_TEST_MATERIAL")
    if not material:
        pytest.skip("the photograph is not here; MATCHVISION_TEST_MATERIAL names the folder that holds aruco/")
    picture = cv2.imread(str(Path(material) / "aruco" / "choriginal.jpg"), cv2.IMREAD_GRAYSCALE)
    return np.asarray(picture, dtype=np.uint8)


def test_corners_lie_on_the_published_board() -> None:
    view = BOARD.look(photograph())
    assert view is not None
    assert len(view.points_m) == 24

    def misses_px(pose: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return (project_points(np.concatenate([LENS, pose]), view.points_m) - view.pixels_px).ravel()

    start = np.array([np.pi, 0.1, 0.1, -0.1, 0.1, 0.4])
    best = min(
        (least_squares(misses_px, start * [a, 1, 1, 1, b, 1]) for a in (1, 0.1) for b in (1, -1)),
        key=lambda solved: solved.cost,
    )
    placed = place_at_height(np.concatenate([LENS, best.x]), view.pixels_px, 0.0)
    off_mm = 1e3 * np.linalg.norm(placed[:, :2] - view.points_m[:, :2], axis=1)
    assert np.sqrt(np.mean(off_mm**2)) < 0.25
    assert np.max(off_mm) < 0.6


def test_part_of_the_board_is_enough() -> None:
    """The right half alone: fewer corners, each the same point of the board."""
    picture = photograph()
    whole, part = BOARD.look(picture), BOARD.look(np.ascontiguousarray(picture[:, : picture.shape[1] // 2]))
    assert whole is not None
    assert part is not None
    assert 8 <= len(part.points_m) < 24
    known = {tuple(np.round(p, 6)): q for p, q in zip(whole.points_m, whole.pixels_px, strict=True)}
    for point, pixel in zip(part.points_m, part.pixels_px, strict=True):
        assert known[tuple(np.round(point, 6))] == pytest.approx(pixel, abs=0.6)
