"""With a rolling shutter every row has its own time."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene, frame_times, place_everything, play, project, truth_facts
from matchvision.filming.camera import lens_of, project_points
from matchvision.filming.equipment import Sway
from matchvision.filming.views import poses_of, row_moments


def test_rows_are_exposed_about_the_middle_one() -> None:
    camera = replace(demo_scene(1).camera, readout_s=0.02)
    height = camera.size_px[1]
    times = row_moments(camera, np.array([1.0, 1.0, 1.0]), np.array([0, (height - 1) / 2, height - 1]))
    np.testing.assert_allclose(times, [0.99, 1.0, 1.01], atol=1e-12)


@pytest.mark.parametrize("sway", [None, Sway(move_m=0.03, turn_deg=1.5, period_s=0.8)])
def test_each_marker_is_drawn_when_its_row_is_exposed(sway: Sway | None) -> None:
    base = demo_scene(6)
    scene = replace(base, camera=replace(base.camera, readout_s=0.03, sway=sway))
    course = play(scene)
    places = place_everything(scene, course, frame_times(scene)[60:260:40])
    views = project(scene, course, places)
    at_once = project(replace(scene, camera=replace(scene.camera, readout_s=0.0)), course, places)
    lens, largest = lens_of(scene.camera), 0.0
    for name, seen in views.pixels.items():
        moments = row_moments(scene.camera, places.clip_s, seen[:, 1])
        np.testing.assert_allclose(views.moments[name], moments, atol=2e-7)
        exact = place_everything(scene, course, moments).markers[name]
        expected = project_points(exact[:, None], lens, poses_of(scene, moments))[:, 0]
        # Straight between the trail's times, all but exact; a slack rope that lifts off moves less evenly.
        assert np.abs(seen - expected)[~places.slack].max() < 0.002
        assert np.abs(seen - expected).max() < 0.02
        largest = max(largest, float(np.abs(seen - at_once.pixels[name]).max()))
        np.testing.assert_array_equal(
            places.markers[name], place_everything(scene, course, places.clip_s).markers[name]
        )
    assert largest > (0.8 if sway else 0.1)
    facts = truth_facts(scene, course, views, place_everything(scene, course, np.array([scene.end_s])))
    assert facts["camera"]["rolling_shutter_s"] == 0.03
