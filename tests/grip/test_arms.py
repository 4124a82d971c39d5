"""An arm's way out, its stop, its base's recoil and the rope's shock."""

import numpy as np
import pytest

from matchvision.grip.arms import find_reach
from matchvision.records.events import Event
from matchvision.records.motion import ArmMotion, MatchClock
from matchvision.records.pull import PullSource
from tests.made_motion import make_machine, make_rope, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(1.0, 3.0)


def events_of(begins_s: float, stroke_m: float = 0.2) -> list[Event]:
    """An arm that goes out at 0.5 m/s and stops within a frame; its base recoils 2 mm; the rope snaps taut later."""
    out = np.clip(0.5 * (T_S - begins_s), 0.0, stroke_m)
    speed = np.gradient(out, T_S)
    u = np.full(N, 1.0)
    arm = ArmMotion("plover", -1, out, speed, np.gradient(speed, T_S), 0.0003 * u, 0.005 * u, 1.0 * u)
    moved = make_machine("plover", N, x_m=np.where(begins_s + 0.4 < T_S, 0.002, 0.0))
    rope = make_rope(N, slack=np.where((begins_s + 0.1 < T_S) & (begins_s + 0.8 > T_S), 1.0, 0.0))
    tension = np.where(begins_s + 0.8 < T_S, 8.0, 0.0) + np.where(np.abs(T_S - begins_s - 0.83) < 0.02, 7.0, 0.0)
    pull = PullSource("fused", tension, 0.1 * u, 0.05 * u, independent=True, budget=())
    return find_reach(arm, moved, rope, pull, T_S, CLOCK)


def test_reach_is_dated_and_measured() -> None:
    (event,) = events_of(1.6)
    assert event.kind == "reach-out"
    assert event.start_s == pytest.approx(0.6 + 0.01, abs=0.01)
    assert event.end_s == pytest.approx(0.6 + 0.38, abs=0.02)
    for piece in ("200.00", "0.500", "m/s²", "Its base moved 2.00", "snapped taut 0.8", "15.00"):
        assert piece in event.evidence


def test_arm_that_goes_off_early_has_jumped_the_start() -> None:
    kinds = [event.kind for event in events_of(0.7)]
    assert kinds == ["reach-out", "early-start"]


def test_arm_that_stays_in_is_no_event() -> None:
    assert not events_of(1.6, stroke_m=0.003)
