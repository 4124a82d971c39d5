"""What happens before the start signal."""

import numpy as np
import pytest

from matchvision.grip.beforehand import describe_setting_up, find_early_wheels, hands_off, idle_machines
from matchvision.grip.moves import find_first_motion
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, make_motion, make_run, make_wheel, seconds

T_S = seconds(8.0)
N = len(T_S)
CLOCK = MatchClock(5.0, 3.0)
TOUCH = Event("touch", "", -4.0, -2.0, 0.03, 1.0, "A hand.")


def test_wheels_that_run_too_early_are_dated() -> None:
    surface = np.where(T_S > 4.4, 0.1, 0.0)
    wheel = make_wheel("heron", N, surface_speed_m_s=surface)
    (event,) = find_early_wheels(wheel, T_S, hands_off(T_S - 5.0, None), CLOCK)
    assert (event.kind, event.machine) == ("early-start", "heron")
    assert event.start_s == pytest.approx(-0.6, abs=0.03)
    late = make_wheel("heron", N, surface_speed_m_s=np.where(T_S > 5.02, 0.1, 0.0))
    assert not find_early_wheels(late, T_S, hands_off(T_S - 5.0, None), CLOCK)


def test_what_a_hand_moves_is_no_early_start() -> None:
    """A hand pushes the machine about; three seconds before the start another motion has no hand near."""
    pushed = np.where((T_S > 1.5) & (T_S < 2.8), 0.05, 0.0)
    moved = make_machine("heron", N, speed_m_s=pushed)
    free = hands_off(T_S - 5.0, [TOUCH])
    assert not find_first_motion(moved, T_S, CLOCK, free)
    alone = make_machine("heron", N, speed_m_s=pushed + np.where(T_S > 3.6, 0.05, 0.0))
    kinds = [event.kind for event in find_first_motion(alone, T_S, CLOCK, free)]
    assert kinds == ["first-motion", "early-start"]


def test_setting_up_is_timed_against_the_rules() -> None:
    run = make_run(rules={"setup_limit_s": 1.5})
    said, warning = describe_setting_up(run, [TOUCH], -5.0)
    assert "2.0 s before the start" in said
    assert "the rules allow 1.5 s" in warning
    assert describe_setting_up(run, [], -5.0) == ("", "")


def test_machine_whose_trigger_never_went_off_is_named() -> None:
    wheels = [make_wheel("heron", N), make_wheel("plover", N, surface_speed_m_s=0.1)]
    machines = [make_machine("heron", N), make_machine("plover", N)]
    motion = make_motion(T_S, machines=machines, wheels=wheels)
    assert idle_machines(make_run(), motion, [], CLOCK) == ["heron"]


def test_machine_that_was_only_drawn_along_never_went_off_but_one_that_stalled_tried() -> None:
    wheels = [make_wheel("heron", N, surface_speed_m_s=-0.1), make_wheel("plover", N, surface_speed_m_s=0.1)]
    machines = [make_machine("heron", N, speed_m_s=-0.1), make_machine("plover", N, speed_m_s=0.1)]
    motion = make_motion(T_S, machines=machines, wheels=wheels)
    drawn = Event("first-motion", "heron", 0.3, float("nan"), 0.01, 1.0, "It moved.")
    assert idle_machines(make_run(), motion, [drawn], CLOCK) == ["heron"]
    stalled = Event("stall", "heron", 0.3, 1.5, 0.01, 1.0, "It stalled.")
    assert not idle_machines(make_run(), motion, [drawn, stalled], CLOCK)
    assert not idle_machines(make_run(kind="slope"), motion, [drawn], CLOCK)
