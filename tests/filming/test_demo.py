"""The invented matches are worth watching and stay on their table."""

import numpy as np

from matchvision.filming import demo_scene, frame_times, place_everything, play, project, truth_facts
from matchvision.filming.sheet import faults_of_sense


def test_demo_matches_vary_and_stay_on_the_table() -> None:
    winners, margins, slips = [], [], 0
    for seed in range(14):
        scene = demo_scene(seed)
        assert not list(faults_of_sense(scene))
        assert scene.frames <= 420
        course = play(scene)
        places = place_everything(scene, course, frame_times(scene)[::20])
        views = project(scene, course, places)
        end = place_everything(scene, course, np.array([scene.end_s]))
        facts = truth_facts(scene, course, views, end)
        winners.append(facts["verdict"]["winner"])
        margins.append(facts["verdict"]["margin_mm"])
        slips += any(facts["events"]["slip_intervals_s"].values())
        for name, machine in scene.machine.items():
            reach = np.abs(course.machines[name].x_m) + machine.size_m[0] / 2
            assert reach.max() < scene.table.length_m / 2
        assert all(flags.all() for flags in views.visible.values())
    assert 3 <= winners.count("heron") <= 11
    assert sum(m > 15 for m in margins) >= 11
    assert min(margins) > 0
    assert slips >= 10


def test_a_seed_is_drawn_when_none_is_given() -> None:
    scene = demo_scene()
    assert demo_scene(scene.seed) == scene
