"""Wheel states from made-up stories."""

import numpy as np

from matchvision.grip.slip import likely_states, name_states, slip_events
from matchvision.grip.spells import find_slides
from matchvision.grip.states import wheel_chain
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, make_wheel, seconds


def test_states_follow_a_made_story() -> None:
    """Grips, spins, slips forward, is dragged turning, then locked; noise as a good track has it."""
    t_s = seconds(10.0)
    n = len(t_s)
    part = np.minimum((t_s // 2).astype(int), 4)
    surface = np.array([0.08, 0.10, 0.16, 0.05, 0.0])[part]
    ground = np.array([0.08, 0.0, 0.06, 0.12, 0.10])[part]
    generator = np.random.default_rng(8)
    seen = surface - ground + 0.003 * generator.standard_normal(n)
    wheel = make_wheel(
        "plover", n, surface_speed_m_s=surface, slip_speed_m_s=seen, u_slip_speed_m_s=0.003, u_surface_speed_m_s=0.002
    )
    moved = make_machine("plover", n, speed_m_s=ground)
    chain = wheel_chain(wheel, moved, ground, t_s, np.zeros(n, dtype=np.bool_))
    slides = find_slides(wheel, np.ones(n, dtype=np.bool_), t_s)
    likely = likely_states(chain, slides, t_s)
    words = name_states(wheel, likely)
    for k, word in enumerate(("gripping", "spinning", "slipping", "dragged", "locked")):
        middle = (t_s > 2 * k + 0.1) & (t_s < 2 * k + 1.9)
        assert {words[i] for i in np.flatnonzero(middle)} == {word}
    events = slip_events(wheel, chain, slides, likely, t_s, MatchClock(0.0, 10.0))
    assert [event.kind for event in events] == ["spin", "slip", "dragged"]
    for event, true_s in zip(events, (2.0, 4.0, 6.0), strict=True):
        assert abs(event.start_s - true_s) < 0.03
    assert "standing still" not in events[2].evidence


def test_braked_wheel_is_held_and_an_unbraked_one_grips() -> None:
    t_s = seconds(3.0)
    n = len(t_s)
    wheel, moved = make_wheel("heron", n), make_machine("heron", n)
    for braked, word in ((True, "held"), (False, "gripping")):
        chain = wheel_chain(wheel, moved, np.zeros(n), t_s, np.full(n, braked))
        assert set(name_states(wheel, likely_states(chain, [], t_s))) == {word}
