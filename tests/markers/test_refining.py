"""What the second fit learns of a clip's optics, and where it steps back."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from numba.core.caching import CacheImpl

from benchmarks.discs import choose_places, draw_picture, find_discs, start_refiner, windows_about
from matchvision.markers import fitting
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


def test_a_partly_hidden_disc_is_fitted_around_or_left_out() -> None:
    rng = np.random.default_rng(8)
    refiner = start_refiner()
    for index in range(7):
        places = choose_places(8.0, rng)
        luma, blue, red = draw_picture(places, 8.0, 90.0, 1.0, 1.0, rng)
        if index == 6:
            for col, row in places:
                # A grey stick before the disc's right edge.
                left, top = int(col + 5), int(row - 12)
                luma[top : top + 24, left : left + 4] = 120
                blue[top // 2 : top // 2 + 12, left // 2 : left // 2 + 2] = 128
                red[top // 2 : top // 2 + 12, left // 2 : left // 2 + 2] = 128
        frame = Frame(index, index / 30, luma, blue, red, (2, 2), (0.5, 0.5))
        windows = windows_about(places, 8.0, 90.0)
        first = find_centres(frame, windows)
        found = refiner.refine(frame, windows, first)
    kept = is_clear(found)
    error = np.linalg.norm(found.place_px - places, axis=1)
    assert np.all((error < 0.5) | ~kept)
    # The stated uncertainty knows that something is in the way.
    assert np.sqrt(np.mean((error[kept] / np.linalg.norm(found.u_px[kept], axis=1)) ** 2)) < 3


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


def test_a_computer_that_keeps_nothing_can_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the package's folder nor a home can be written: what is compiled serves this run only."""
    monkeypatch.setattr(CacheImpl, "_locator_classes", [])

    def double(x: float) -> float:
        return 2.0 * x

    assert fitting._compile(double)(1.5) == 3.0


def _add_coarse_noise(plane: npt.NDArray[np.uint8], noise: float, rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    grain = rng.normal(0, 1, plane.shape)
    for axis in (0, 1):
        grain = (np.roll(grain, 1, axis) + 2 * grain + np.roll(grain, -1, axis)) / np.sqrt(6)
    return np.clip(np.rint(plane + noise * grain), 0, 255).astype(np.uint8)


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
