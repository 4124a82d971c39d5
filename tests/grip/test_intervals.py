"""Runs of frames and the dates of their ends."""

import numpy as np
import pytest

from matchvision.grip.intervals import best_mean, bridge_gaps, date_crossing, find_stretches, hold_between, keep_long
from tests.made_motion import seconds

T_S = seconds(2.0)


def test_crossing_lies_between_the_frames() -> None:
    """A straight rise crosses 10 at 1.0037 s whatever the frames' places."""
    values = 10 + 50 * (T_S - 1.0037)
    frame = int(np.argmax(values > 10))
    at_s, u_s = date_crossing(values, np.full(len(T_S), 0.5), T_S, frame, 10.0)
    assert at_s == pytest.approx(1.0037, abs=1e-9)
    assert u_s == pytest.approx(np.hypot(0.5 / 50, (1 / 60) / np.sqrt(12)), rel=1e-6)


def test_hysteresis_does_not_flicker_and_keeps_its_state_over_gaps() -> None:
    values = np.array([0.0, 31.0, 29.0, np.nan, 31.0, 19.0, 29.0])
    assert hold_between(values, 30.0, 20.0).tolist() == [False, True, True, True, True, False, False]


def test_stretches_partition_what_holds() -> None:
    generator = np.random.default_rng(1)
    holds = generator.random(500) > 0.5
    rebuilt = np.zeros(500, dtype=bool)
    for stretch in find_stretches(holds):
        rebuilt[stretch.frames] = True
    assert np.array_equal(rebuilt, holds)


def test_short_gaps_close_and_short_stretches_go() -> None:
    holds = np.zeros(len(T_S), dtype=bool)
    holds[10:40], holds[44:60], holds[90:95] = True, True, True
    (kept,) = keep_long(bridge_gaps(holds, T_S, 0.1), T_S, 0.15)
    assert (kept.first, kept.last) == (10, 59)


def test_best_mean_is_that_of_the_window() -> None:
    values = np.where((T_S > 0.5) & (T_S < 0.8), 3.0, 1.0)
    mean, u = best_mean(values, np.full(len(T_S), 0.2), T_S, 0.15)
    assert mean == pytest.approx(3.0)
    assert u == pytest.approx(0.2)


def test_stretch_as_long_as_asked_is_kept_whatever_its_last_digits() -> None:
    t_s = np.arange(200) / 60
    for first in range(1, 190):
        holds = np.zeros(200, dtype=np.bool_)
        holds[first : first + 6] = True
        assert len(keep_long(holds, t_s, 0.1)) == 1
        assert not keep_long(holds, t_s, 0.11)
