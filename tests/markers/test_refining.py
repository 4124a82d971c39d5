"""What the second fit learns of a clip's optics, and where it steps back."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from benchmarks.discs import choose_places, draw_picture, find_discs, start_refiner, windows_about
from matchvision.markers.centres import find_centres, is_clear
from matchvision.markers.refining import Refiner
from matchvision.records.frames import Frame
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]


@pytest.mark.parametrize(("blur_px", "size"), [(0.8, 1.0), (1.3, 1.0), (1.0, 0.94)])
def test_blur_and_size_are_learnt(blur_px: float, size: float) -> None:
    rng = np.random.default_rng(5)
    refiner = start_refiner()
    for index in range(6):
        places = choose_places(7.0, rng)
        planes = draw_picture(places, 7.0 * size, 90.0, 2.0, blur_px, rng)
        found = find_discs(refiner, planes, places, 7.0, 90.0, index, rng)
    assert refiner.blur_px == pytest.approx(blur_px, abs=0.05)
    assert refiner.size == pytest.approx(np.full(25, size), abs=0.02)
    assert np.abs((found.place_px - places).mean(axis=0)).max() < 0.01


def test_noise_alike_among_neighbours_widens_the_uncertainty() -> None:
    rng = np.random.default_rng(6)
    refiner = start_refiner()
    errors, stated = [], []
    start = choose_places(7.0, rng)
    speed = rng.uniform(-0.2, 0.2, start.shape)
    for index in range(20):
        places = start + (index - 10) * speed
        planes = draw_picture(places, 7.0, 90.0, 0.0, 1.0, rng)
        noisy = tuple(_add_coarse_noise(p, 4.0, rng) for p in planes)
        found = find_discs(refiner, (noisy[0], noisy[1], noisy[2]), places, 7.0, 90.0, index, rng)
        if index >= 5:
            errors.append(found.place_px - places)
            stated.append(found.u_px)
    assert refiner.alike.min() > 1.5
    ratio = np.sqrt(np.mean(np.square(stated)) / np.mean(np.square(errors)))
    assert 0.8 < ratio < 1.25


def test_shade_on_spheres_does_not_lift_them() -> None:
    rng = np.random.default_rng(7)
    spheres = Refiner([MarkerPlan(f"bead_{n}", "bead", "red", 0.01, sphere=True) for n in range(25)])
    for index in range(6):
        places = choose_places(6.0, rng)
        frame = _shade(draw_picture(places, 6.0, 90.0, 1.0, 1.0, rng), places, 6.0, -0.25, index)
        windows = windows_about(places + rng.uniform(-1, 1, places.shape), 6.0, 90.0)
        first = find_centres(frame, windows)
        found = spheres.refine(frame, windows, first)
    bias_first, bias = (float((c.place_px - places)[:, 1].mean()) for c in (first, found))
    assert spheres.shade[0, 1] < -0.12
    assert bias_first < -0.08
    assert abs(bias) < 0.6 * abs(bias_first)


@pytest.mark.parametrize("sphere", [False, True])
@pytest.mark.parametrize("share", [0.1, 0.25, 0.5])
@pytest.mark.parametrize(("luma", "blue", "red"), [(120, 128, 128), (150, 112, 150)])
def test_a_partly_covered_marker_is_fitted_around_or_doubted(
    share: float, sphere: bool, luma: int, blue: int, red: int
) -> None:
    """A grey stick or a hand comes over each marker, from one side, between two pictures."""
    rng = np.random.default_rng(8)
    refiner = Refiner([MarkerPlan(f"m{n}", "body", "red", 0.01, sphere=sphere) for n in range(25)])
    places = choose_places(6.0, rng)
    for index in range(7):
        planes = draw_picture(places, 6.0, 80.0, 2.0, 1.0, rng)
        if index == 6:
            planes = _cover(planes, places, 6.0, share, (luma, blue, red))
        frame = Frame(index, index / 30, *planes, (2, 2), (0.5, 0.5))
        windows = windows_about(places + rng.uniform(-1, 1, places.shape), 6.0, 80.0)
        found = refiner.refine(frame, windows, find_centres(frame, windows))
    kept = is_clear(found)
    error_px = np.linalg.norm(found.place_px - places, axis=1)
    assert np.all(error_px[kept] < 4 * np.linalg.norm(found.u_px[kept], axis=1))
    if share == 0.1:
        # So little is fitted around: half of the error of one who does not notice.
        assert kept.all()
        assert np.median(error_px) < 0.35


def test_what_is_not_clear_is_left_as_it_was() -> None:
    rng = np.random.default_rng(9)
    places = choose_places(6.0, rng)
    frame = Frame(0, 0.0, *draw_picture(places, 6.0, 90.0, 1.0, 1.0, rng), (2, 2), (0.5, 0.5))
    windows = windows_about(places, 6.0, 90.0)
    first = find_centres(frame, windows)
    doubtful = replace(first, misfit=np.where(np.arange(25) < 5, 0.9, first.misfit))
    found = start_refiner().refine(frame, windows, doubtful)
    assert np.array_equal(found.place_px[:5], first.place_px[:5])
    assert not np.array_equal(found.place_px[5:], first.place_px[5:])


def _add_coarse_noise(plane: npt.NDArray[np.uint8], noise: float, rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    grain = rng.normal(0, 1, plane.shape)
    for axis in (0, 1):
        grain = (np.roll(grain, 1, axis) + 2 * grain + np.roll(grain, -1, axis)) / np.sqrt(6)
    return np.clip(np.rint(plane + noise * grain), 0, 255).astype(np.uint8)


def _cover(
    planes: tuple[npt.NDArray[np.uint8], ...], places_px: FloatArray, radius_px: float, share: float,
    codes: tuple[int, int, int],
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:  # fmt: skip
    """Something with a soft straight edge over a share of each marker's breadth."""
    covered = []
    for plane, code, step in zip(planes, codes, (1, 2, 2), strict=True):
        y, x = np.indices(plane.shape) * step + (step - 1) / 2
        hidden = np.zeros(plane.shape)
        for col, row in places_px:
            across = 0.92 * (x - col) + 0.39 * (y - row)
            near = np.hypot(x - col, y - row) < radius_px + 9
            hidden = np.maximum(hidden, near * np.clip((across - radius_px * (1 - 2 * share)) / 1.5 + 0.5, 0, 1))
        covered.append(np.rint(plane * (1 - hidden) + code * hidden).astype(np.uint8))
    return covered[0], covered[1], covered[2]


def _shade(
    planes: tuple[npt.NDArray[np.uint8], ...], places_px: FloatArray, radius_px: float, down: float, index: int
) -> Frame:
    """Chroma dimmed towards the lower edge of every disc."""
    rows, cols = planes[1].shape
    y, x = 2.0 * np.arange(rows)[:, None] + 0.5, 2.0 * np.arange(cols)[None] + 0.5
    factor = np.ones((rows, cols))
    for col, row in places_px:
        near = np.hypot(x - col, y - row) < radius_px + 4
        factor[near] = (1 + down * (y - row) / radius_px + 0 * x)[near]
    blue, red = (np.clip(np.rint(128 + factor * (p - 128.0)), 0, 255).astype(np.uint8) for p in planes[1:])
    return Frame(index, index / 30, planes[0], blue, red, (2, 2), (0.5, 0.5))
