"""A hitch lets the rope go; a machine starts late."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene, frame_times, place_everything, play, project, truth_facts, truth_table
from matchvision.filming.course import Course
from matchvision.filming.ground import surface_m
from matchvision.filming.places import Places
from matchvision.filming.scene import Release, Scene


@pytest.fixture(scope="module", params=["heron", "plover"])
def scene(request: pytest.FixtureRequest) -> Scene:
    base = demo_scene(3)
    return replace(base, rope=replace(base.rope, release=Release(hitch=request.param, after_start_s=2.0)))


@pytest.fixture(scope="module")
def course(scene: Scene) -> Course:
    return play(scene)


@pytest.fixture(scope="module")
def places(scene: Scene, course: Course) -> Places:
    return place_everything(scene, course, frame_times(scene))


def test_a_released_rope_follows_the_hitch_that_holds_it(scene: Scene, course: Course, places: Places) -> None:
    """It keeps its length, hangs at the other hitch, drops like a stone and trails where that hitch has been."""
    assert scene.rope.release is not None
    off = np.flatnonzero(places.clip_s >= scene.clock.start_s + 2.0)
    held = 1 if scene.rope.ends[0] == scene.rope.release.hitch else 0
    curve = places.rope[off] if held == 0 else places.rope[off][:, ::-1]
    np.testing.assert_allclose(curve[:, 0], places.hitches[held][off], atol=1e-4)
    np.testing.assert_allclose(places.rope_total_m[off], scene.rope.length_m, atol=0.002)
    height = curve[..., 2] - surface_m(scene.table, curve[..., 0])
    assert height.min() > scene.rope.bead_radius_m - 1e-9
    free = curve[:, -1, 2]
    since = places.clip_s[off] - (scene.clock.start_s + 2.0)
    falling = (since > 0.01) & (since < 0.06)
    fall = free[falling] - (places.hitches[1 - held][off[0], 2] - 9.81 / 2 * since[falling] ** 2)
    assert np.abs(fall).max() < 0.004
    assert height[since > 0.3, 120:].max() < scene.rope.bead_radius_m + 0.002
    went = places.hitches[held][off[-1], 0] - places.hitches[held][off[0], 0]
    assert abs(went) > 0.1
    assert curve[-1, -1, 0] - curve[20, -1, 0] == pytest.approx(went, abs=0.06)
    assert course.tension_N[course.clip_s >= scene.clock.start_s + 2.0].max() == 0


def test_truth_tells_the_release(scene: Scene, course: Course, places: Places) -> None:
    views = project(scene, course, places)
    table = truth_table(scene, course, places, views)
    facts = truth_facts(scene, course, views, place_everything(scene, course, np.array([scene.end_s])))
    at_s = scene.clock.start_s + 2.0
    assert facts["events"]["rope_release_s"] == at_s
    assert (table["rope_attached"] == (table["pts_s"] < at_s)).all()
    assert not table["rope_taut"][table["pts_s"] > at_s].any()
    assert (table["tension_N"][table["pts_s"] > at_s] == 0).all()
    assert facts["events"]["rope_taut_intervals_s"][-1][1] == pytest.approx(at_s, abs=0.001)


def test_a_side_that_is_lost_turns_the_machine() -> None:
    base = demo_scene(3)
    drive = base.machine["heron"].drive
    assert drive is not None
    lame = replace(drive, loss_s=1.0, loss_turn_deg_per_m=40.0)
    course = play(replace(base, machine={**base.machine, "heron": replace(base.machine["heron"], drive=lame)}))
    usual, state = play(base).machines["heron"], course.machines["heron"]
    after = course.clip_s > base.clock.start_s + 1.0
    assert np.array_equal(state.heading_rad[~after], usual.heading_rad[~after])
    way = np.cumsum(np.abs(state.speed_m_s[after])) * 0.0005
    wander = np.deg2rad(base.machine["heron"].wander_deg)
    turned = state.heading_rad[after] - state.heading_rad[after][0]
    assert way[-1] > 0.05
    assert np.abs(turned - np.deg2rad(40.0) * way).max() < 2 * abs(wander) + 0.002
    rate = np.gradient(state.y_m, 0.0005)
    np.testing.assert_allclose(rate[1:-1], (state.speed_m_s * np.sin(state.heading_rad))[1:-1], atol=2e-3)


def test_a_late_start_shifts_the_throttle() -> None:
    base = demo_scene(3)
    drive = base.machine["heron"].drive
    assert drive is not None
    late = replace(base.machine["heron"], drive=replace(drive, start_delay_s=0.6))
    scene = replace(base, machine={**base.machine, "heron": late})
    course, usual = play(scene), play(base)
    steps = round(0.6 / 0.0005)
    np.testing.assert_allclose(
        course.machines["heron"].share[steps:6000], usual.machines["heron"].share[: 6000 - steps], atol=1e-12
    )
    before = course.clip_s < scene.clock.start_s + 0.6
    assert course.machines["heron"].share[before].max() == 0
    np.testing.assert_array_equal(course.machines["plover"].share, usual.machines["plover"].share)
