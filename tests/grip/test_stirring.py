"""A short way that was gone fast, told from a slow one and from a marker that jumps."""

import numpy as np
import pytest

from matchvision.grip.moves import find_first_motion
from matchvision.grip.stirring import chance_of_way
from matchvision.records.motion import MatchClock
from tests.made_motion import FloatArray, make_machine, seconds

T_S = seconds(4.0)
N = len(T_S)
NOISE_M = 0.0001


def chances(course: FloatArray, noise_m: float = NOISE_M) -> list[float]:
    """Of exceeding 10 mm/s for 0.1 s about 2 s, with eight draws of noise."""
    drawn = (course + noise_m * np.random.default_rng(seed).standard_normal(N) for seed in range(8))
    found = [chance_of_way(T_S, places, noise_m, 0.010, 2.0, 0.1) for places in drawn]
    return [chance for chance in found if chance is not None]


def test_way_of_two_millimetres_is_told_from_a_jump() -> None:
    """2 mm within 0.13 s were gone at 15 mm/s; half a millimetre between two frames were not."""
    assert min(chances(0.015 * np.clip(T_S - 2.0, 0.0, 0.13))) > 0.95
    assert max(chances(np.where(T_S > 2.0, 0.0005, 0.0))) < 0.05


@pytest.mark.parametrize("speed_m_s", [0.0, 0.004, 0.008])
def test_creep_below_the_limit_is_no_start(speed_m_s: float) -> None:
    """The chance is one of a speed: of eight courses that creep just below the limit, none is claimed at 95 %."""
    assert max(chances(speed_m_s * np.maximum(T_S - 1.9, 0.0))) < 0.95


def test_long_way_and_few_places_are_left_to_the_smoothed_speed() -> None:
    assert not chances(0.1 * np.maximum(T_S - 1.9, 0.0))
    assert chance_of_way(T_S[:8], T_S[:8] * 0.001, NOISE_M, 0.010, 0.05, 0.1) is None


def test_twitch_of_two_millimetres_is_a_first_motion_and_a_jump_is_none() -> None:
    """As a machine is that the rope tugs: its smoothed speed is 15 ± 4 mm/s in both cases."""
    clock, noise = MatchClock(1.0, 3.0), NOISE_M * np.random.default_rng(1).standard_normal(N)
    speed = np.where((T_S > 2.0) & (T_S < 2.13), 0.0155, 0.0)
    moved = make_machine("heron", N, speed_m_s=speed, u_speed_m_s=0.004)
    tugged, jumped = 0.0155 * np.clip(T_S - 2.0, 0.0, 0.13), np.where(T_S > 2.06, 0.0007, 0.0)
    (event,) = find_first_motion(moved, T_S, clock, course=tugged + noise)
    assert event.start_s == pytest.approx(1.0, abs=0.03)
    assert event.probability > 0.95
    assert not find_first_motion(moved, T_S, clock, course=jumped + noise)
