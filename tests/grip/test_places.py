"""Where a wheel slid, and what the other side did."""

import numpy as np

from matchvision.grip.places import describe_other_side, describe_place
from matchvision.grip.states import GRIPPING, SLIPPING
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from matchvision.records.pull import Traction
from matchvision.records.sheet import Wheel
from tests.made_motion import make_machine, seconds

T_S = seconds(6.0)
N = len(T_S)
CLOCK = MatchClock(0.0, 6.0)
LEFT = Wheel(name="left", radius_m=0.045, face_m=(0.08, 0.117, 0.045))
RIGHT = Wheel(name="right", radius_m=0.045, face_m=(0.08, -0.117, 0.045))
SLIDE = Event("slip", "heron", 4.0, 5.0, 0.02, 1.0, "")
STATES = np.where((T_S >= 4.0) & (T_S <= 5.0), SLIPPING, GRIPPING)


def test_grip_at_the_same_place_before_is_told() -> None:
    """Out to 0.3 m and back: on the way back it slides where it had gripped."""
    x_m = 0.1 * np.minimum(T_S, 6.0 - T_S)
    moved = make_machine("heron", N, x_m=x_m, speed_m_s=0.1)
    used = np.where(STATES == SLIPPING, 0.4, 0.7)
    one = np.ones(N)
    traction = Traction("heron", 20 * used, 20 * one, used, 0.3 * one, 0.1 * one, 0.02 * one)
    said = describe_place(SLIDE, LEFT, moved, STATES, traction, T_S, CLOCK)
    assert "On its left side, x from 0.18 to 0.28 m" in said
    assert "0.400 ± 0.039, just before: 0.700 ± 0.039" in said
    assert "It had gripped at this place" in said


def test_new_place_blames_nothing() -> None:
    moved = make_machine("heron", N, x_m=0.1 * T_S, speed_m_s=0.1)
    said = describe_place(SLIDE, RIGHT, moved, STATES, None, T_S, CLOCK)
    assert "On its right side" in said
    assert "gripped at this place" not in said
    assert "Grip used" not in said


def test_other_side_is_told_apart() -> None:
    gripping = np.full(N, GRIPPING)
    assert "gripped meanwhile" in describe_other_side(SLIDE, [(RIGHT, gripping)], LEFT, T_S)
    assert "slid as well" in describe_other_side(SLIDE, [(RIGHT, STATES)], LEFT, T_S)
    assert not describe_other_side(SLIDE, [(LEFT, STATES)], LEFT, T_S)
