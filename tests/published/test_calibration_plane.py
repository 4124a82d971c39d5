"""A lens and places on a plane from five photographs of a printed plane, against the published calibration.

Source: Z. Zhang's calibration plane (1998), 64 squares of which the corners were measured in five photographs of 640 x
480 pixels, and Z. Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22 (2000) 1330. No licence is
stated for the data, so the files (plane/Model.txt, data1.txt to data5.txt) are read only where they are at hand.
Checks: `fit_views`, `fit_skew`, `undistort`.
Values as printed: a 832.5, skew 0.204494, b 832.53, u0 303.959, v0 206.585, k1 -0.228601, k2 0.190353, rms 0.3364
px. Our camera has no skew; what a camera without it gives on the same corners is taken from OpenCV (seen): 832.207,
832.243, 304.068, 206.372, k1 -0.22853, k2 0.19101, rms 0.3369 px.
Tolerance: 1e-3 against the published values with skew and against OpenCV's without. Without skew, against the published
ones, what the skew leaves: 0.4 px.
The errors on the plane [mm] were computed from the corners with a homography fitted on the plane's side (mean square
distance on the plane), seen, to 0.01 mm; corrected ones with the lens as fitted.
"""

import os
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import least_squares

from matchvision.geometry.camera import undistort
from matchvision.table.boards import BoardView
from matchvision.table.lens import LensFit, fit_views
from matchvision.table.skew import fit_skew

FloatArray = npt.NDArray[np.float64]
INCH_M = 0.0254
#: rms and greatest error [mm]: four outer corners raw, and corrected; all corners raw, and corrected.
PLANE_MM = [
    [(1.153, 1.672), (0.193, 0.511), (0.485, 1.752), (0.141, 0.319)],
    [(1.156, 1.631), (0.153, 0.428), (0.486, 1.802), (0.089, 0.263)],
    [(1.034, 1.484), (0.291, 0.790), (0.480, 1.558), (0.237, 0.613)],
    [(1.053, 1.518), (0.143, 0.336), (0.438, 1.597), (0.098, 0.206)],
    [(0.903, 1.359), (0.154, 0.372), (0.363, 1.337), (0.097, 0.235)],
]


@cache
def views() -> dict[str, BoardView]:
    material = os.environ.get("MATCHVISION_TEST_MATERIAL")
    if not material:
        pytest.skip("the corners are not here; MATCHVISION_TEST_MATERIAL names the folder that holds plane/")
    folder = Path(material) / "plane"
    flat = np.loadtxt(folder / "Model.txt").reshape(-1, 2) * INCH_M
    points = np.column_stack([flat, np.zeros(len(flat))])
    return {f"data{k}": BoardView(points, np.loadtxt(folder / f"data{k}.txt").reshape(-1, 2)) for k in range(1, 6)}


@cache
def fitted() -> LensFit:
    return fit_views(views(), (640, 480), at_zero=("p1", "p2", "k3"), choose=False)


def test_lens_without_skew() -> None:
    fx, fy, cx, cy, k1, k2 = fitted().sheet.camera.parameters[:6]
    assert (fx, fy, cx, cy) == pytest.approx((832.207, 832.243, 304.068, 206.372), abs=1e-3)
    assert (k1, k2) == pytest.approx((-0.22853, 0.19101), abs=1e-5)
    assert fitted().sheet.rms_px == pytest.approx(0.3369, abs=1e-4)


def test_published_lens_with_its_skew() -> None:
    """The published model whole: all five intrinsics and both radial terms within 1e-3."""
    found = fit_skew(fitted())
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = found.lens
    assert (fx, found.skew_px, fy, cx, cy) == pytest.approx((832.5, 0.204494, 832.53, 303.959, 206.585), abs=1e-3)
    assert (k1, k2) == pytest.approx((-0.228601, 0.190353), abs=1e-3)
    assert (p1, p2, k3) == (0, 0, 0)
    assert found.rms_px == pytest.approx(0.3364, abs=1e-4)
    assert 0.05 < found.u_skew_px < 0.1


def test_lens_as_published() -> None:
    """What the missing skew leaves: 1e-3 of the focal length, and less than our own stated uncertainty."""
    camera = fitted().sheet.camera
    published = np.array([832.5, 832.53, 303.959, 206.585, -0.228601, 0.190353])
    apart = camera.parameters[:6] - published
    assert np.all(np.abs(apart[:4]) < 0.4)
    assert np.all(np.abs(apart[4:]) < 1e-3)
    assert np.all(np.abs(apart) < np.sqrt(np.diag(camera.covariance)[:6]))


def map_by(numbers: FloatArray, seen: FloatArray) -> FloatArray:
    mapped = np.column_stack([seen, np.ones(len(seen))]) @ np.append(numbers, 1.0).reshape(3, 3).T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def errors_mm(seen: FloatArray, flat: FloatArray, chosen: npt.NDArray[np.intp]) -> tuple[float, float]:
    """Rms and greatest error of all corners [mm], placed by the homography that fits the chosen ones best.

    Raw corners show that these are the errors which were computed elsewhere; corrected ones hold our lens to them.
    """
    rows = []
    for (x, y), (u, v) in zip(flat[chosen], seen[chosen], strict=True):
        rows += [[u, v, 1, 0, 0, 0, -x * u, -x * v, -x], [0, 0, 0, u, v, 1, -y * u, -y * v, -y]]
    start = np.linalg.svd(np.array(rows))[2][-1]

    def misses(numbers: FloatArray) -> FloatArray:
        return np.asarray((map_by(numbers, seen[chosen]) - flat[chosen]).ravel(), dtype=np.float64)

    best = least_squares(misses, start[:8] / start[8], x_scale="jac", xtol=1e-14)
    off = 1e3 * np.linalg.norm(map_by(best.x, seen) - flat, axis=1)
    return float(np.sqrt(np.mean(off**2))), float(np.max(off))


@pytest.mark.parametrize("k", range(5))
def test_places_on_the_plane(k: int) -> None:
    view = views()[f"data{k + 1}"]
    flat, lens = view.points_m[:, :2], fitted().sheet.camera.parameters
    # Around the picture's middle and of unit size, so that raw pixels are as well conditioned as corrected ones.
    raw = (view.pixels_px - [320, 240]) / 800
    corrected = np.stack(undistort(lens, view.pixels_px), axis=-1)
    outer = np.array([int(np.argmin(flat @ [a, b])) for a in (-1, 1) for b in (-1, 1)])
    everything = np.arange(len(flat))
    for wanted, (seen, chosen) in zip(
        PLANE_MM[k],
        [(raw, outer), (corrected, outer), (raw, everything), (corrected, everything)],
        strict=True,
    ):
        assert errors_mm(seen, flat, chosen) == pytest.approx(wanted, abs=0.01)
