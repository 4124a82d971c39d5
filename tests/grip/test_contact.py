"""Machines that meet a wall or each other."""

import numpy as np
import pytest

from matchvision.grip.contact import find_contacts, touching_frames
from matchvision.records.motion import MatchClock
from tests.made_motion import FloatArray, make_machine, make_motion, make_run, make_wheel, seconds

T_S = seconds(5.0)
N = len(T_S)
CLOCK = MatchClock(0.5, 4.5)
BODY = {"mass_kg": 2.5, "size_m": (0.28, 0.23, 0.12)}
WALL = {"size_m": (0.04, 0.3, 0.08), "at_m": (0.66, 0.0)}


def run_up(stop_x_m: float, speed_m_s: float = 0.15) -> tuple[FloatArray, FloatArray]:
    """Travel from x = 0 at 1 s on, until the machine is stopped."""
    x_m = np.minimum(speed_m_s * np.maximum(T_S - 1.0, 0.0), stop_x_m)
    return x_m, np.gradient(x_m, T_S)


def test_wall_is_met_and_blocks() -> None:
    x_m, speed = run_up(0.5)
    run = make_run(machine={"heron": {**BODY, "home": "+x"}, "plover": {**BODY, "home": "-x", "blocker": WALL}})
    heron = make_machine("heron", N, x_m=x_m, speed_m_s=speed)
    wheel = make_wheel("heron", N, surface_speed_m_s=0.15)
    motion = make_motion(T_S, machines=[heron], wheels=[wheel])
    contact, blocked = find_contacts(run.sheet, motion, CLOCK)
    true_s = 1.0 + 0.5 / 0.15 - 0.5
    assert (contact.kind, contact.machine) == ("contact", "heron")
    assert contact.start_s == pytest.approx(true_s, abs=0.05)
    assert (blocked.kind, blocked.machine) == ("blocked", "heron")
    assert blocked.start_s == pytest.approx(true_s, abs=0.05)
    assert "wheels went on turning" in blocked.evidence
    assert touching_frames(run.sheet, motion, "heron").any()


def test_wall_that_is_not_reached_is_no_event() -> None:
    x_m, speed = run_up(0.48)
    run = make_run(machine={"heron": {**BODY, "home": "+x"}, "plover": {**BODY, "home": "-x", "blocker": WALL}})
    motion = make_motion(T_S, machines=[make_machine("heron", N, x_m=x_m, speed_m_s=speed)])
    assert not find_contacts(run.sheet, motion, CLOCK)


def test_machine_that_is_drawn_into_the_other_is_named() -> None:
    """Heron stands; plover, home to the other side, is drawn backwards into it. Nobody is blocked by that."""
    x_m, speed = run_up(0.5)
    run = make_run(machine={"heron": {**BODY, "home": "-x"}, "plover": {**BODY, "home": "+x"}})
    heron = make_machine("heron", N, x_m=-0.6, heading_deg=180.0)
    plover = make_machine("plover", N, x_m=0.2 - x_m * 1.04, speed_m_s=-speed)
    (event,) = find_contacts(run.sheet, make_motion(T_S, machines=[heron, plover]), CLOCK)
    assert (event.kind, event.machine) == ("contact", "plover")
    assert "plover and heron met" in event.evidence


def test_wall_that_gives_way_is_dislodged_from_where_it_began_to() -> None:
    """Heron meets the wall of plover at 0.5 m, and pushes it on at 0.05 m/s half a second later."""
    free, pushes = 0.15 * np.maximum(T_S - 1.0, 0.0), 0.5 + 0.05 * np.maximum(T_S - 1.0 - 0.5 / 0.15 - 0.3, 0.0)
    x_m = np.where(free < 0.5, free, pushes)
    run = make_run(machine={"heron": {**BODY, "home": "+x"}, "plover": {**BODY, "home": "-x", "blocker": WALL}})
    heron = make_machine("heron", N, x_m=x_m, speed_m_s=np.gradient(x_m, T_S))
    found = {e.kind: e for e in find_contacts(run.sheet, make_motion(T_S, machines=[heron]), CLOCK)}
    assert found["dislodged"].machine == "plover"
    # It is 2 mm away 0.04 s after it began to go.
    assert found["dislodged"].start_s == pytest.approx(1.0 + 0.5 / 0.15 + 0.3 + 0.04 - 0.5, abs=0.05)
    assert "the wall gave way" in found["dislodged"].evidence
