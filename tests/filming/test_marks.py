"""Markers are drawn where the truth says that they are."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene, frame_times, place_everything, play, project
from matchvision.filming.camera import Lens, Poses, aim, project_points
from matchvision.filming.equipment import Sway
from matchvision.filming.marks import cover, fit_ellipses
from matchvision.filming.pictures import Studio
from matchvision.filming.scene import Clock, Scene
from matchvision.filming.views import Views

LENS = Lens((985.0, 987.0), (639.5, 359.5), (-0.06, 0.02, 0.0006, -0.0004, 0.0))


def a_pose() -> Poses:
    rotation, translation = aim(np.array([0.1, -1.6, 1.4]), np.array([0.0, 0.0, 0.0]), 0.8)
    return Poses(rotation[None], translation[None])


def area_centroid(corners: np.ndarray) -> np.ndarray:
    """Centroid of a polygon's area (shoelace)."""
    x, y = corners.T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    along = np.stack([(x + np.roll(x, -1)) * cross, (y + np.roll(y, -1)) * cross])
    return np.asarray(along.sum(axis=1) / (3 * cross.sum()))


def area(corners: np.ndarray) -> float:
    x, y = corners.T
    return float(abs((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2)


@pytest.mark.parametrize("radius_m", [0.0085, 0.014, 0.03])
@pytest.mark.parametrize("upright", [False, True])
def test_a_disc_is_drawn_where_it_is(radius_m: float, upright: bool) -> None:
    """Covered area and its centroid are those of the projected outline, anywhere in the picture."""
    generator = np.random.default_rng(17)
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    flat = np.stack([np.cos(turn), 0 * turn, np.sin(turn)] if upright else [np.cos(turn), np.sin(turn), 0 * turn], -1)
    for place in generator.uniform([-1.0, -0.5, 0.0], [1.0, 0.5, 0.15], (25, 3)):
        outline = project_points(place + radius_m * flat, LENS, a_pose())
        ellipse = fit_ellipses(outline[None, ::20])
        rows, cols, share, _, _ = cover(ellipse, slice(0, 1), (720, 1280), 0, 0)
        row, col = np.mgrid[rows, cols]
        weight = share / share.sum()
        found = np.array([(weight * col).sum(), (weight * row).sum()])
        assert np.abs(found - area_centroid(outline)).max() < 0.012
        assert share.sum() == pytest.approx(area(outline), rel=0.004)
        assert share.max() <= 1
        assert share.min() >= 0


def test_a_moving_disc_is_smeared_about_its_middle() -> None:
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    flat = np.stack([np.cos(turn), np.sin(turn), 0 * turn], -1)
    places = np.array([[x, 0.1, 0.12] for x in (-0.002, 0.0, 0.002)])
    outlines = np.array([project_points(place + 0.014 * flat, LENS, a_pose()) for place in places])
    ellipses = fit_ellipses(outlines)
    rows, cols, share, _, _ = cover(ellipses, slice(0, 3), (720, 1280), 0, 0)
    _, _, still, _, _ = cover(ellipses, slice(1, 2), (720, 1280), 0, 0)
    _, col = np.mgrid[rows, cols]
    assert (share * col).sum() / share.sum() == pytest.approx(ellipses.centre[1, 0], abs=0.004)
    assert (share > 0.01).sum() > (still > 0.01).sum()


def test_a_window_may_cut_a_marker() -> None:
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    flat = np.stack([np.cos(turn), np.sin(turn), 0 * turn], -1)
    ellipse = fit_ellipses(project_points(0.02 * flat, LENS, a_pose())[None])
    left, top = (int(v) for v in ellipse.centre[0])
    rows, cols, share, _, _ = cover(ellipse, slice(0, 1), (5, 6), left, top)
    assert rows.start == cols.start == 0
    assert share.shape == (5, 6)
    outside = cover(ellipse, slice(0, 1), (5, 6), left + 300, top)
    assert outside[2].size == 0


def small_scene() -> Scene:
    scene = demo_scene(2)
    camera = replace(scene.camera, size_px=(640, 360), f_px=(496.0, 496.8), centre_px=(321.5, 178.0), noise_levels=0.0)
    return replace(scene, camera=camera, clock=Clock(start_s=0.05, duration_s=0.1, after_s=0.0), thing=())


def on_a_ridge() -> Scene:
    scene = small_scene()
    return replace(scene, table=replace(scene.table, profile_m=((-1.1, -0.1156), (0.0, 0.0), (1.1, -0.1156))))


def rolling_and_swaying() -> Scene:
    scene = small_scene()
    camera = replace(scene.camera, readout_s=0.03, sway=Sway(move_m=0.03, turn_deg=1.5, period_s=0.8))
    return replace(scene, camera=camera, clock=Clock(start_s=0.05, duration_s=3.0, after_s=0.0))


@pytest.mark.parametrize(
    "scene", [small_scene(), on_a_ridge(), rolling_and_swaying()], ids=["flat", "ridge", "rolling"]
)
def test_discs_in_the_finished_picture_are_where_the_truth_says(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    """Intensity-weighted centroid of each disc, got by leaving the markers out of a second drawing."""
    course = play(scene)
    places = place_everything(scene, course, frame_times(scene)[-10:])
    views: Views = project(scene, course, places)
    studio = Studio(scene, course, places, views)
    with_marks, (left, top, _, _) = studio.draw(4)
    monkeypatch.setattr(Studio, "_flat_mark", lambda *_: None)
    without, _ = studio.draw(4)
    change = np.abs(with_marks - without).sum(axis=-1)
    for name in ("heron.front", "heron.rear", "plover.front", "plover.rear"):
        centre = views.pixels[name][4] - [left, top]
        col, row = np.round(centre).astype(int)
        window = np.s_[row - 7 : row + 8, col - 7 : col + 8]
        rows, cols = np.mgrid[row - 7 : row + 8, col - 7 : col + 8]
        weight = change[window] / change[window].sum()
        found = np.array([(weight * cols).sum(), (weight * rows).sum()])
        # The centre's picture and the centroid of the disc's picture differ by perspective, here below 0.02 px.
        assert np.abs(found - centre).max() < 0.03
        drawn = studio.ellipses[name].centre[4 * 3 + 1] - [left, top]
        assert np.abs(found - drawn).max() < 0.015
