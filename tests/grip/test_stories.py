"""A few made-up runs whole: what happened is found in time, and nothing else. The rest is `benchmarks events`."""

import numpy as np
import pytest

from tests.grip.happened import filmed_slips, score
from tests.grip.quiet import quiet_points
from tests.grip.stories import found_in_points, stories, true_of

#: Each shows other kinds; the first three are a physics engine's. In the second, two slips are 0.1 s apart.
CHECKED = ("half-drive", "swings", "lets-go", "reaches", "wall", "early")


@pytest.mark.slow
@pytest.mark.parametrize("name", CHECKED)
def test_what_happened_is_found_and_nothing_else(name: str) -> None:
    seed = 2
    story = next(story for story in stories(seed) if story.name == name)
    played = story.play()
    scored = score(true_of(story, played), found_in_points(story, played.course, np.random.default_rng(seed)))
    assert len(scored.pairs) >= 3
    assert [truth for truth, event in scored.pairs if event is None] == []
    assert [event.kind for event in scored.false] == []
    late = [abs(truth.error_s(event.start_s)) for truth, event in scored.pairs if event is not None and truth.dated]
    assert max(late) < 0.1
    assert float(np.sqrt(np.mean(np.square(late)))) < 0.05


@pytest.mark.slow
def test_nothing_happens_in_quiet_time() -> None:
    assert quiet_points(7, 20.0) == []


def test_wheel_that_stands_aside_of_a_turning_machine_slips_against_the_ground_under_it() -> None:
    """The ground's speed from where the wheel's middle is, not from the machine's speed and turning."""
    story = next(story for story in stories(5) if story.name == "turns")
    course = story.course()
    slips = filmed_slips(story.scene, course)
    apart = []
    for name, machine in story.scene.machine.items():
        state = course.machines[name]
        assert machine.drive is not None
        cos, sin = np.cos(state.heading_rad), np.sin(state.heading_rad)
        along_m, aside_m, _ = machine.wheel[0].face_m
        x, y = state.x_m + cos * along_m - sin * aside_m, state.y_m + sin * along_m + cos * aside_m
        ground = cos * np.gradient(x, course.clip_s) + sin * np.gradient(y, course.clip_s)
        surface = state.wheel_rate_rad_s * machine.drive.wheel_radius_m
        # Speeds by differences over a millisecond are off by half a step's change.
        assert np.abs(slips[name] - (surface - ground)).max() < 0.002
        apart.append(np.abs(slips[name] - (surface - state.speed_m_s)).max())
    # One of the two turns so fast that its middle tells nothing of its wheel.
    assert max(apart) > 0.02
