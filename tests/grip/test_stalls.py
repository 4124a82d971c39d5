"""Driven wheels that stand under drive, rocked by the rope or not."""

import numpy as np
import pytest

from matchvision.grip.stalls import find_stalls
from matchvision.records.motion import MatchClock, WheelMotion
from tests.made_motion import FloatArray, make_wheel, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(1.0, 3.0)
COMMANDS = np.array([[0.0, 0.8], [3.0, 0.8]])


def turning(rate_rad_s: FloatArray, u_rate_rad_s: float = 0.05, u_angle_rad: float = 0.005) -> WheelMotion:
    """A wheel with its angle as its rate makes it."""
    angle = np.concatenate([[0.0], np.cumsum(0.5 * (rate_rad_s[1:] + rate_rad_s[:-1]) * np.diff(T_S))])
    return make_wheel(
        "heron", N, rate_rad_s=rate_rad_s, angle_rad=angle, u_rate_rad_s=u_rate_rad_s, u_angle_rad=u_angle_rad
    )


def stalls_of(wheel: WheelMotion) -> list[tuple[float, float]]:
    return [(e.start_s, e.end_s) for e in find_stalls(wheel, T_S, CLOCK, traction=None, commands=COMMANDS)]


def test_stall_needs_a_drive_that_is_known_to_be_on() -> None:
    wheel = turning(np.where((T_S > 1.5) & (T_S < 3.0), 0.02, 2.0), 0.01)
    assert stalls_of(wheel) == [pytest.approx((0.5, 2.0), abs=0.04)]
    assert not find_stalls(wheel, T_S, CLOCK, traction=None, commands=None)
    assert not find_stalls(wheel, T_S, CLOCK, traction=None, commands=COMMANDS * [1.0, 0.0])


@pytest.mark.parametrize("seed", range(4))
def test_wheel_that_the_rope_rocks_stalls_where_it_first_stands(seed: int) -> None:
    """It stops at 1.5 s of the clip; a rope that gives and recoils rocks it by 0.03 rad either way, at 0.5 rad/s."""
    after = np.maximum(T_S - 1.5, 0.0)
    noise = np.convolve(0.05 * np.random.default_rng(seed).standard_normal(N + 5), np.ones(6) / 6**0.5, "valid")
    rate = np.where(T_S < 1.5, 2.0, -0.5 * np.sin(2 * np.pi * after / 0.35) * np.exp(-after / 0.6)) + 0.4 * noise
    (stall,) = stalls_of(turning(rate))
    assert stall == pytest.approx((0.5, 3.0), abs=0.05)


def test_wheel_that_is_pulled_back_for_good_has_not_stalled_for_both_stands() -> None:
    """It stands for 0.8 s, is turned back by 0.15 rad within 0.15 s, and stands for 0.3 s more."""
    back = (T_S > 2.3) & (T_S < 2.45)
    rate = np.where(back, -1.0, np.where((T_S > 1.5) & (T_S < 2.75), 0.0, 2.0))
    assert not stalls_of(turning(rate))
    # Rocked by a fifth of that it has.
    assert len(stalls_of(turning(np.where(back, 0.2 * rate, rate)))) == 1


def test_wheel_that_creeps_on_stalls_only_below_the_limit() -> None:
    """At 0.15 ± 0.1 rad/s, at which a frame alone tells nothing, it turns by 0.15 rad a second."""
    assert not stalls_of(turning(np.full(N, 0.15), 0.1))
    assert len(stalls_of(turning(np.full(N, 0.06), 0.1))) == 1


def test_wheel_that_seems_to_swing_on_by_its_u_stalls_once() -> None:
    """It stops at 1.5 s of the clip and its smoothed rate undershoots by 0.15 ± 0.1 rad/s for a tenth of a second."""
    rate = np.where(T_S < 1.5, 2.0, np.where((T_S > 1.55) & (T_S < 1.65), -0.15, 0.0))
    assert stalls_of(turning(rate, 0.1)) == [pytest.approx((0.5, 3.0), abs=0.04)]


@pytest.mark.parametrize(("lasted_s", "low", "high"), [(0.85, None, None), (0.95, 0.5, 0.97), (1.3, 0.99, 1.0)])
def test_stall_of_about_a_second_is_as_likely_as_its_beginning_is_sure(
    lasted_s: float, low: float | None, high: float | None
) -> None:
    """It slows down to nothing at 1.5 s of the clip at 4 rad/s², told to 0.04 rad/s, and is driven on later.

    Below 0.1 rad/s it is 0.025 s before it stands, and driven on it has turned by 0.1 rad after 0.05 s.
    """
    rate = np.where(T_S < 1.5, 4.0 * (1.5 - T_S), np.where(1.5 + lasted_s > T_S, 0.0, 2.0))
    found = find_stalls(turning(rate, 0.04), T_S, CLOCK, traction=None, commands=COMMANDS)
    assert len(found) == (low is not None)
    assert all(low <= event.probability <= high for event in found if low is not None and high is not None)
