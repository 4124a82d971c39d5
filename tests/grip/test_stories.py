"""A few made-up runs whole: what happened is found in time, and nothing else. The rest is `benchmarks events`."""

import numpy as np
import pytest

from tests.grip.happened import score
from tests.grip.quiet import quiet_points
from tests.grip.stories import found_in_points, stories, true_of

#: Each shows other kinds; the first two are a physics engine's.
CHECKED = ("half-drive", "lets-go", "reaches", "wall", "early")


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
