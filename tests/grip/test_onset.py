"""When something that stood began to move."""

from collections.abc import Callable

import numpy as np
import pytest

from matchvision.grip.onset import base_course, date_start, unseen_way
from tests.made_motion import FloatArray, make_machine, make_motion, seconds

T_S = seconds(3.0)
NOISE_M = 0.0003
Way = Callable[[FloatArray], FloatArray]
WAYS: tuple[Way, ...] = (
    # A leap to 0.5 m/s, a start at 0.2 m/s², one that gathers 0.3 m/s² each second: all at 1.513 s.
    lambda t: 0.5 * t,
    lambda t: 0.1 * t**2,
    lambda t: 0.05 * t**3,
)


@pytest.mark.parametrize(("way", "passes_s"), [(WAYS[0], 0.0), (WAYS[1], 0.05), (WAYS[2], np.sqrt(0.01 / 0.15))])
@pytest.mark.parametrize("about_s", [1.42, 1.55])
def test_leap_and_slow_start_are_dated(way: Way, passes_s: float, about_s: float) -> None:
    errors, stated = [], []
    for seed in range(8):
        noise = NOISE_M * np.random.default_rng(seed).standard_normal(len(T_S))
        found = date_start(T_S, way(np.maximum(T_S - 1.513, 0.0)) + noise, NOISE_M, 0.010, about_s)
        assert found is not None
        errors.append(found[0] - 1.513 - passes_s)
        stated.append(found[1])
    assert np.sqrt(np.mean(np.square(errors))) < 0.030
    assert np.abs(errors).max() < 3 * np.median(stated)


def behind_a_coder(way_m: FloatArray, play_m: float, generator: np.random.Generator) -> FloatArray:
    """A way as a coder shows it: what stands is repeated to the last digit until it lags by so much, then is behind."""
    moved = way_m > play_m
    noise = np.where(moved, 0.00005 * generator.standard_normal(len(way_m)), 0.0)
    return np.asarray(np.maximum(way_m - play_m, 0.0) + noise)


@pytest.mark.parametrize(("way", "passes_s"), [(WAYS[0], 0.0), (WAYS[1], 0.05), (WAYS[2], np.sqrt(0.01 / 0.15))])
def test_start_that_a_coder_hides_is_dated_before_it_shows(way: Way, passes_s: float) -> None:
    """Up to 0.5 mm stay unseen, each play as often: dates are unbiased beside their spread, and that is stated."""
    plays, true_s = 0.0005 * (np.arange(10) + 0.5) / 10, 1.513 + passes_s
    errors, stated, shown = [], [], []
    for seed, play_m in enumerate(plays):
        course = behind_a_coder(way(np.maximum(T_S - 1.513, 0.0)), play_m, np.random.default_rng(seed))
        found = date_start(T_S, course, 0.0, 0.010, 1.55, 0.0005)
        plain = date_start(T_S, course, 0.0, 0.010, 1.55)
        assert found is not None
        assert plain is not None
        errors.append(found[0] - true_s)
        stated.append(found[1])
        shown.append(plain[0] - true_s)
    # Within a frame a leap may have been at any moment.
    assert abs(np.mean(errors)) < 1 / 60
    assert np.sqrt(np.mean(np.square(errors))) < min(0.030, 1.5 * np.sqrt(np.mean(np.square(stated))))
    assert abs(np.mean(errors)) <= abs(np.mean(shown)) + 0.002


def test_places_that_are_new_in_every_frame_hide_nothing() -> None:
    noise = NOISE_M * np.random.default_rng(1).standard_normal(len(T_S))
    course = 0.1 * np.maximum(T_S - 1.513, 0.0) ** 2 + noise
    shown, hidden = (date_start(T_S, course, NOISE_M, 0.010, 1.5, unseen) for unseen in (0.0, 0.0005))
    assert shown is not None
    assert hidden is not None
    assert hidden[0] == pytest.approx(shown[0], abs=0.005)


def test_too_few_places_give_nothing() -> None:
    assert date_start(T_S[:5], T_S[:5], NOISE_M, 0.01, 0.0) is None


def test_course_of_markers_that_are_never_seen_is_the_machine_s_own() -> None:
    moved = make_machine("heron", len(T_S), x_m=np.where(T_S < 1.0, np.nan, 0.1))
    motion = make_motion(T_S, machines=[moved])
    assert np.array_equal(base_course(motion, moved), moved.x_m, equal_nan=True)
    assert unseen_way(motion) == 0.0


def test_creep_that_lets_go_after_a_millimetre_is_dated_by_its_creep() -> None:
    """It gathers 0.3 m/s² for 0.1 s from 1.513 s on, so that it passes 4 mm/s 13 ms later, and then lets go at 2 m/s².

    A law without the second bend passes over the first one.
    """
    since, later = np.maximum(T_S - 1.513, 0.0), np.maximum(T_S - 1.613, 0.0)
    way = 0.15 * np.minimum(since, 0.1) ** 2 + 0.03 * later + 1.0 * later**2
    late: dict[bool, list[float]] = {True: [], False: []}
    scaled = []
    for seed in range(8):
        course = way + NOISE_M * np.random.default_rng(seed).standard_normal(len(T_S))
        for anew, errors in late.items():
            found = date_start(T_S, course, NOISE_M, 0.004, 1.6, anew=anew)
            assert found is not None
            errors.append(found[0] - 1.513 - 0.004 / 0.3)
            if anew:
                scaled.append(errors[-1] / found[1])
    assert abs(np.mean(late[True])) < 0.5 * np.mean(late[False])
    assert np.abs(late[True]).max() < 0.05
    assert np.abs(scaled).max() < 2.5
