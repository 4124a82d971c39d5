"""Events of a machine's own motion."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.grip.moves import find_first_motion, find_holding, find_leaving, find_turning
from matchvision.records.motion import MatchClock
from matchvision.records.pull import PullSource
from tests.made_motion import make_machine, make_rope, make_run, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(1.0, 3.0)


def test_first_motion_is_dated() -> None:
    """0.2 m/s² from 1.3 s of the clip: 10 mm/s at 1.35 s, 0.35 s into the match."""
    noise = 0.001 * np.random.default_rng(3).standard_normal(N)
    moved = make_machine("heron", N, speed_m_s=np.clip(0.2 * (T_S - 1.3), 0, 0.1) + noise, u_speed_m_s=0.001)
    (event,) = find_first_motion(moved, T_S, CLOCK)
    assert event.kind == "first-motion"
    assert event.start_s == pytest.approx(0.35, abs=3 * event.u_start_s)
    assert 0.003 < event.u_start_s < 0.02


def test_motion_before_the_signal_is_early() -> None:
    moved = make_machine("heron", N, speed_m_s=np.clip(0.5 * (T_S - 0.7), 0, 0.1))
    assert [e.kind for e in find_first_motion(moved, T_S, CLOCK)] == ["first-motion", "early-start"]
    # A clock that itself starts with the first motion cannot be jumped.
    started = replace(CLOCK, source="first motion of heron")
    assert [e.kind for e in find_first_motion(moved, T_S, started)] == ["first-motion"]
    # Nor is it early where the clock is not known to better than that.
    unsure = replace(CLOCK, u_start_s=0.3)
    assert [e.kind for e in find_first_motion(moved, T_S, unsure)] == ["first-motion"]


def test_setting_up_and_noise_are_no_first_motion() -> None:
    placed = np.where(T_S < 0.4, 0.3, 0.0)
    moved = make_machine("heron", N, speed_m_s=placed + np.where(T_S > 2.0, 0.05, 0.0))
    (event,) = find_first_motion(moved, T_S, CLOCK)
    assert event.start_s == pytest.approx(1.0, abs=0.02)
    trembling = 0.004 * np.random.default_rng(4).standard_normal(N)
    assert not find_first_motion(make_machine("heron", N, speed_m_s=trembling, u_speed_m_s=0.004), T_S, CLOCK)


@pytest.mark.parametrize(("most_deg", "count"), [(8.0, 0), (12.0, 1), (-12.0, 1)])
def test_turning_by_ten_degrees(most_deg: float, count: int) -> None:
    heading = 178.0 + most_deg * np.clip(T_S - 1.5, 0, 1)
    events = find_turning(make_machine("heron", N, heading_deg=heading), T_S, CLOCK)
    assert len(events) == count
    if count:
        assert events[0].start_s == pytest.approx(0.5 + 10 / 12, abs=0.02)
        assert ("left" if most_deg > 0 else "right") in events[0].evidence


def test_leaving_the_table() -> None:
    table = make_run().sheet.table
    (event,) = find_leaving(make_machine("plover", N, x_m=0.5 * T_S), table, T_S, CLOCK)
    assert event.start_s == pytest.approx(1.2 / 0.5 - 1.0, abs=0.02)
    assert not find_leaving(make_machine("plover", N, x_m=1.19), table, T_S, CLOCK)


def test_holding_needs_a_known_pull() -> None:
    moved = make_machine("heron", N)
    pull = PullSource("link", np.full(N, 12.0), np.full(N, 0.3), np.zeros(N), independent=True, budget=())
    (event,) = find_holding(moved, make_rope(N), pull, T_S, CLOCK)
    assert event.end_s - event.start_s > 2.8
    assert "12.00 ± 0.59 N (95 %)" in event.evidence
    assert not find_holding(moved, make_rope(N), None, T_S, CLOCK)
    assert not find_holding(moved, make_rope(N, slack=1.0), pull, T_S, CLOCK)


@pytest.mark.parametrize(("lasted_s", "low", "high"), [(0.90, None, None), (1.02, 0.6, 0.95), (1.2, 0.99, 1.0)])
def test_hold_of_about_a_second_is_as_likely_as_its_ends_are_sure(
    lasted_s: float, low: float | None, high: float | None
) -> None:
    """From 1.2 s of the clip it is pulled, and later its base moves off at 0.2 m/s²: 4 mm/s are passed 20 ms later."""
    moves_s = 1.2 + lasted_s - 0.02
    moved = make_machine("heron", N, speed_m_s=np.clip(0.2 * (T_S - moves_s), 0.0, 0.2), u_speed_m_s=0.003)
    tension_N = np.where(T_S < 1.2, 0.0, 12.0)
    pull = PullSource("link", tension_N, np.full(N, 0.1), np.zeros(N), independent=True, budget=())
    found = find_holding(moved, make_rope(N), pull, T_S, CLOCK)
    assert len(found) == (low is not None)
    if low is not None and high is not None:
        assert low < found[0].probability <= high
        assert found[0].end_s - found[0].start_s == pytest.approx(lasted_s, abs=0.02)


def test_machine_that_leaps_is_not_early_by_its_smoothers_window() -> None:
    """It leaps to 0.6 m/s at 1.0 s of the clip; its smoothed speed rises 0.1 s before, its course does not."""
    speed = np.interp(T_S, [0.9, 1.05, 4.0], [0.0, 0.6, 0.5])
    course = 0.6 * np.maximum(T_S - 1.0, 0.0) + 0.0001 * np.random.default_rng(5).standard_normal(N)
    moved = make_machine("heron", N, speed_m_s=speed, u_speed_m_s=0.003)
    found = find_first_motion(moved, T_S, CLOCK, course=course, unseen_m=0.0004)
    assert [event.kind for event in found] == ["first-motion"]
    assert found[0].start_s == pytest.approx(0.0, abs=0.02)
