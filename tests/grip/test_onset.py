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


def test_way_that_pictures_do_not_show_is_in_the_uncertainty() -> None:
    course = 0.1 * np.maximum(T_S - 1.513, 0.0) ** 2
    shown, late = (date_start(T_S, course, NOISE_M, 0.010, 1.5, unseen) for unseen in (0.0, 0.0005))
    assert shown is not None
    assert late is not None
    assert late[0] == shown[0]
    # 0.5 mm at 0.2 m/s² take 71 ms: rectangular.
    assert np.sqrt(late[1] ** 2 - shown[1] ** 2) == pytest.approx(0.071 / np.sqrt(12), rel=0.4)


def test_too_few_places_give_nothing() -> None:
    assert date_start(T_S[:5], T_S[:5], NOISE_M, 0.01, 0.0) is None


def test_course_of_markers_that_are_never_seen_is_the_machine_s_own() -> None:
    moved = make_machine("heron", len(T_S), x_m=np.where(T_S < 1.0, np.nan, 0.1))
    motion = make_motion(T_S, machines=[moved])
    assert np.array_equal(base_course(motion, moved), moved.x_m, equal_nan=True)
    assert unseen_way(motion) == 0.0
