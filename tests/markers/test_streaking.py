"""Speeds at the middle of a picture, and a shutter learnt from what fits."""

import numpy as np
import pytest

from matchvision.markers.streaking import SHUTTERS, Streaks


def places_at(index: int) -> np.ndarray:
    """One marker at a steady speed, one that gathers speed, one that is never seen."""
    return np.array([[3.0 * index, 10.0], [0.2 * index**2, 50.0], [np.nan, np.nan]])


def test_speed_is_that_at_the_middle_of_the_exposure() -> None:
    streaks = Streaks(3)
    for index in range(10):
        speed = streaks.speed(index, places_at(index))
        streaks.take(index, places_at(index))
    assert speed == pytest.approx(np.array([[3.0, 0.0], [0.4 * 9, 0.0], [0.0, 0.0]]))
    assert streaks.is_fast(speed).tolist() == [True, True, False]
    # After a gap nothing is known.
    assert np.all(streaks.speed(12, places_at(12)) == 0)


def test_a_start_with_a_jerk_is_not_asked_for_the_shutter() -> None:
    streaks = Streaks(1)
    for index, at in enumerate([0.0, 0.0, 8.0]):
        place = np.array([[at, 0.0]])
        speed = streaks.speed(index, place)
        assert not streaks.wants_look(speed)
        streaks.take(index, place)


def test_the_shutter_is_the_middle_of_what_fits() -> None:
    streaks = Streaks(1)
    assert streaks.shutter == 0
    streaks.learn(50 * (np.array(SHUTTERS) - 0.6) ** 2)
    assert streaks.shutter == pytest.approx(0.6)
    streaks.learn(np.full(len(SHUTTERS), np.nan))
    assert streaks.shutter == pytest.approx(0.6)
    way = streaks.while_open(np.array([[10.0, -5.0]]))
    assert way == pytest.approx(np.array([[6.0, -3.0, 3.0, 1.5]]))
