"""Wheels that grip, slip, spin or are dragged."""

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.grip.slip import likely_states, name_states, slip_events
from matchvision.grip.spells import find_slides
from matchvision.grip.states import wheel_chain
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, make_wheel, seconds

T_S = seconds(4.0)
CLOCK = MatchClock(0.5, 3.0)


def events_of(surface_m_s: FloatArray, ground_m_s: FloatArray, u: float = 0.002) -> tuple[list[Event], tuple[str, ...]]:
    n = len(T_S)
    wheel = make_wheel(
        "plover", n, surface_speed_m_s=surface_m_s, slip_speed_m_s=surface_m_s - ground_m_s, u_slip_speed_m_s=u
    )
    moved = make_machine("plover", n, speed_m_s=ground_m_s)
    chain = wheel_chain(wheel, moved, ground_m_s, T_S, np.zeros(n, dtype=np.bool_))
    slides = find_slides(wheel, np.ones(n, dtype=np.bool_), T_S)
    states = likely_states(chain, slides, T_S)
    return slip_events(wheel, chain, slides, states, T_S, CLOCK), name_states(wheel, states)


def during(start_s: float, end_s: float, value: float, otherwise: float = 0.0) -> FloatArray:
    return np.where((start_s <= T_S) & (end_s > T_S), value, otherwise)


def test_slip_is_found_where_it_is() -> None:
    (event,), states = events_of(during(1.0, 3.0, 0.15, 0.05), np.full(len(T_S), 0.05))
    assert event.kind == "slip"
    # On the match clock, which starts at 0.5 s of the clip.
    assert event.start_s == pytest.approx(0.5, abs=0.02)
    assert event.end_s == pytest.approx(2.5, abs=0.02)
    assert event.probability > 0.99
    assert states[120] == "slipping"
    assert states[10] == "gripping"


@pytest.mark.parametrize(
    ("surface", "ground", "kind"),
    [
        (0.06, 0.002, "spin"),
        (0.0, 0.08, "dragged"),
        (0.0, -0.08, "dragged"),
        (-0.02, -0.08, "dragged"),
        (0.05, -0.07, "slip"),
        (0.12, 0.05, "slip"),
    ],
)
def test_kinds_of_slip(surface: float, ground: float, kind: str) -> None:
    (event,), _ = events_of(during(1.0, 3.0, surface, ground), np.full(len(T_S), ground))
    assert event.kind == kind


def test_back_driven_gripping_wheel_is_no_event() -> None:
    ground = np.full(len(T_S), -0.1)
    events, states = events_of(ground + 0.005, ground)
    assert not events
    assert set(states) == {"gripping"}


def test_too_short_or_too_slow_is_no_slip() -> None:
    still = np.zeros(len(T_S))
    assert not events_of(during(1.0, 1.12, 0.2), still)[0]
    assert not events_of(during(1.0, 2.0, 0.028), still)[0]


def test_noise_about_the_limit_is_not_claimed() -> None:
    generator = np.random.default_rng(2)
    noise = 0.006 * generator.standard_normal(len(T_S))
    assert not events_of(noise, np.zeros(len(T_S)), u=0.006)[0]


def test_slip_goes_over_into_spin_as_the_machine_stops() -> None:
    ground = np.clip(0.08 - 0.05 * (T_S - 1.0), 0.0, 0.08)
    events, _ = events_of(ground + during(1.0, 4.1, 0.06), ground)
    assert [e.kind for e in events] == ["slip", "spin"]
    assert events[1].start_s == pytest.approx(events[0].end_s)
    assert events[1].start_s + 0.5 == pytest.approx(1.0 + 0.07 / 0.05, abs=0.05)


def test_unseen_wheel_has_no_state() -> None:
    slip = during(1.0, 2.0, np.nan)
    _, states = events_of(slip, np.zeros(len(T_S)))
    assert states[90] == ""


def test_short_dip_does_not_part_a_slip_and_its_end_is_where_it_last_exceeded_the_limit() -> None:
    fading = np.where(T_S < 2.0, during(1.0, 2.0, 0.04), np.where(T_S < 3.0, 0.025, 0.0))
    fading[(T_S > 1.4) & (T_S < 1.44)] = 0.020
    (event,), _ = events_of(fading, np.zeros(len(T_S)))
    assert [event.start_s, event.end_s] == pytest.approx([0.5, 1.5], abs=0.03)


def test_slow_onset_is_dated_where_slip_passes_the_limit() -> None:
    """0.1 m/s each second, with 4 mm/s of error that frames share: 30 mm/s are passed at 1.0 s, and 40 ms are its u."""
    ground = np.full(len(T_S), 0.05)
    slip = np.clip(0.030 + 0.1 * (T_S - 1.0), 0.0, 0.1) * (T_S < 3.0)
    (event,), _ = events_of(ground + slip, ground, u=0.004)
    assert event.start_s == pytest.approx(1.0 - 0.5, abs=0.005)
    assert event.u_start_s == pytest.approx(0.04, rel=0.1)
    # It ends at once.
    assert event.end_s == pytest.approx(3.0 - 0.5, abs=0.02)
