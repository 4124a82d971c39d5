"""A hand hides what lies behind it, for as long as it is there."""

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from matchvision.filming import demo_scene, frame_times, place_everything, play, project, truth_facts
from matchvision.filming.equipment import Hand
from matchvision.filming.hand import BONES, bones_at, hidden_by_hands, lines_apart
from matchvision.filming.pictures import Studio
from matchvision.filming.scene import Clock, Scene

HAND = Hand(from_s=0.5, until_s=1.1, from_x_m=-0.1, to_x_m=0.1, reach_m=0.8)


def scene_with_hand() -> Scene:
    scene = demo_scene(4)
    camera = replace(scene.camera, size_px=(640, 360), f_px=(496.0, 496.8), centre_px=(321.5, 178.0))
    return replace(scene, camera=camera, clock=Clock(0.3, 1.0, 0.1), hand=(HAND,), thing=())


def test_distance_between_lines_is_the_least_one() -> None:
    """Against a fine search along both lines."""
    generator = np.random.default_rng(8)
    share = np.linspace(0, 1, 401)
    for _ in range(60):
        a, b, c, d = generator.uniform(-1, 1, (4, 3))
        grid = (a + share[:, None] * (b - a))[:, None] - (c + share[:, None] * (d - c))[None]
        least = np.linalg.norm(grid, axis=-1).min()
        found = float(lines_apart(a, b, c, d))
        assert least - 0.01 < found <= least + 1e-12


@pytest.mark.parametrize("edge", ["-y", "+y"])
def test_fingertips_cross_the_edge_at_the_stated_times(edge: Literal["-y", "+y"]) -> None:
    scene = scene_with_hand()
    hand = replace(HAND, edge=edge)
    side = scene.table.width_m / 2 * (-1 if edge == "-y" else 1)

    def tip(clip_s: float) -> float:
        bones = bones_at(hand, scene.table, clip_s)
        # The longest finger's end; its place along the arm is the fingertips'.
        return float(bones[-3].start[1])

    assert tip(0.5) == pytest.approx(side)
    assert tip(1.1) == pytest.approx(side)
    assert tip(0.8) == pytest.approx(side - np.sign(side) * 0.8)
    assert abs(tip(0.45)) > abs(side)
    assert not bones_at(hand, scene.table, 0.1)
    assert len(bones_at(hand, scene.table, 0.8)) == len(BONES)


def test_truth_and_picture_agree_on_what_the_hand_hides() -> None:
    """Where the truth says hidden the drawn picture has skin or cloth at the marker; where seen it is as without."""
    scene = scene_with_hand()
    bare = replace(scene, hand=())
    course = play(scene)
    places = place_everything(scene, course, frame_times(scene)[[0, 34, 38, 42, 46, 50, 54, 58, 62, 80]])
    views, without = project(scene, course, places), project(bare, course, places)
    drawn = [Studio(s, course, places, v) for s, v in ((scene, views), (bare, without))]
    hidden = seen = 0
    for frame in range(len(places.clip_s)):
        (picture, (left, top, _, _)), (plain, (x0, y0, _, _)) = (studio.draw(frame) for studio in drawn)
        for name, flags in views.visible.items():
            assert without.visible[name][frame]
            col, row = np.round(views.pixels[name][frame]).astype(int)
            change = float(np.abs(picture[row - top, col - left] - plain[row - y0, col - x0]).max())
            if flags[frame]:
                seen += 1
            else:
                hidden += 1
                assert change > 0.02, (name, frame)
        if not views.visible["bead_07"][frame]:
            assert 0.5 < places.clip_s[frame] < 1.1
    assert hidden > 6
    assert seen > 60
    facts = truth_facts(scene, course, views, place_everything(scene, course, np.array([scene.end_s])))
    assert facts["events"]["hand_crossings_s"] == [[0.5, 1.1]]


def test_nothing_is_hidden_without_a_hand_or_above_it() -> None:
    scene = scene_with_hand()
    eye = np.array([[0.0, -1.7, 1.4]])
    points = np.array([[[0.0, 0.0, 0.03]], [[0.0, 0.0, 0.5]]])
    moment = np.array([0.8])
    assert hidden_by_hands(scene, points, eye, moment).tolist() == [[True], [False]]
    assert not hidden_by_hands(replace(scene, hand=()), points, eye, moment).any()


def test_an_arm_that_reaches_back_beside_the_camera_is_drawn_all_the_same() -> None:
    """Its far end lies near the camera's own plane, where pixels go to infinity; every picture stays sound."""
    base = scene_with_hand()
    camera = replace(base.camera, position_m=(0.1, -1.25, 0.75), look_at_m=(0.0, 0.0, 0.0))
    scene = replace(base, camera=camera, hand=(replace(HAND, from_x_m=0.05, to_x_m=0.2),))
    course = play(scene)
    places = place_everything(scene, course, np.array([0.0, 0.45, 0.6, 0.7, 0.8, 1.0]))
    studio = Studio(scene, course, places, project(scene, course, places))
    bare = studio.draw(0)[0]
    for frame in range(1, 6):
        picture, (left, top, right, bottom) = studio.draw(frame)
        assert picture.shape == (bottom - top, right - left, 3)
        assert np.isfinite(picture).all()
        assert 0 <= picture.min() <= picture.max() < 2
    assert picture.size > bare.size
