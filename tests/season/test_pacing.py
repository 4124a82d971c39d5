"""What is said beforehand about time."""

import numpy as np
import pytest

from matchvision.season.pacing import estimate, tell_estimate


def test_a_class_takes_what_is_said_of_it() -> None:
    """Over many classes the interval holds the true time about as often as it says."""
    draw = np.random.default_rng(5)
    held = []
    for _ in range(400):
        pictures = draw.uniform(500, 2000, 36)
        took_s = 0.04 * pictures * draw.normal(1, 0.15, 36)
        told = estimate("answer", pictures[6:].tolist(), list(zip(pictures[:6], took_s[:6], strict=True)), 2)
        held.append(told.low_s <= took_s[6:].sum() / 2 <= told.high_s)
        assert told.timed == 6
    assert np.mean(held) > 0.95 - 3 * np.sqrt(0.95 * 0.05 / 400)


def test_before_any_run_was_timed_it_is_a_guess_that_says_so() -> None:
    told = estimate("answer", [1800.0] * 150, [(1800.0, 70.0)], 2)
    assert told.timed == 0
    assert told.high_s == pytest.approx(4 * told.low_s)
    said = tell_estimate([told], 2)
    assert "150 runs, 2 workers: about" in said
    assert "for verdicts" in said
    assert "as on a usual machine" in said
    assert "told again when it has been" in said


def test_what_was_timed_is_told_with_its_basis() -> None:
    told = estimate("causes", [1800.0] * 30, [(1800.0, 60.0), (1700.0, 58.0), (1900.0, 65.0)], 2)
    said = tell_estimate([told], 2)
    assert said.startswith("30 runs, 2 workers: about 15 min (")
    assert said.endswith(") for causes after them, by 3 runs timed here.")


def test_little_work_is_not_counted_in_minutes() -> None:
    told = estimate("causes", [100.0] * 3, [(100.0, 2.0)] * 3, 2)
    assert tell_estimate([told], 2) == "3 runs, 2 workers: a few minutes in all."
    assert tell_estimate([estimate("answer", [], [], 2)], 2) == ""
