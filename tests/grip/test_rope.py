"""Lead changes and rope ends that leave their hitch."""

import numpy as np
import pytest

from matchvision.grip.intervals import FloatArray
from matchvision.grip.rope import find_lead_changes, find_rope_off
from matchvision.records.motion import MatchClock
from tests.made_motion import Values, make_machine, make_motion, make_rope, make_run, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(0.0, 4.0)
RUN = make_run(
    rope={
        "beads": ({"name": "bead_01", "at_m": 0.1, "colour": "red"}, {"name": "bead_02", "at_m": 0.91, "colour": "red"})
    }
)


def changes(lead_m: FloatArray, kind: str = "match") -> list[tuple[str, float]]:
    rope = make_rope(N, on_plus_x_m=0.5 + lead_m, on_minus_x_m=0.5 - lead_m)
    return [(e.machine, e.start_s) for e in find_lead_changes(make_run(kind=kind).sheet, rope, T_S, CLOCK)]


def test_lead_passes_twice() -> None:
    lead = 0.05 * np.sin(2 * np.pi * (T_S - 0.25) / 3) + 0.0005 * np.random.default_rng(6).standard_normal(N)
    found = changes(lead)
    assert [machine for machine, _ in found] == ["plover", "heron", "plover"]
    assert [at for _, at in found] == pytest.approx([0.25, 1.75, 3.25], abs=0.02)


def test_even_rope_and_load_run_change_no_lead() -> None:
    assert not changes(0.002 * np.sin(20 * T_S))
    assert not changes(0.05 * np.sin(2 * T_S), kind="sled")


def test_hitch_that_lets_go_is_dated() -> None:
    """The hitch of plover lies 0.145 behind 0.6, the last bead 0.09 further in. It lets go at 2.0 s."""
    gone = np.clip(T_S - 2.0, 0, None) * 0.3
    machines = [make_machine("heron", N, x_m=-0.6, heading_deg=180.0), make_machine("plover", N, x_m=0.6)]
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.355, 0.0), "bead_02": (0.365 - gone, 0.0)}
    motion = make_motion(T_S, machines=machines, rope=make_rope(N), beads=beads)
    (event,) = find_rope_off(RUN.sheet, motion, None, CLOCK)
    assert event.machine == "plover"
    assert event.start_s == pytest.approx(2.0, abs=0.03)
    assert event.probability > 0.99


def test_attached_rope_is_left_alone() -> None:
    """A turning machine carries its hitch with it; slack brings the bead nearer, never further."""
    heading = 20 * np.sin(T_S)
    hitch_x = 0.6 - 0.145 * np.cos(np.deg2rad(heading))
    hitch_y = -0.145 * np.sin(np.deg2rad(heading))
    slack = 0.05 * (np.sin(3 * T_S) > 0)
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.365, 0.0), "bead_02": (hitch_x - 0.09 + slack, hitch_y)}
    machines = [
        make_machine("heron", N, x_m=-0.61, heading_deg=180.0),
        make_machine("plover", N, x_m=0.6, heading_deg=heading),
    ]
    motion = make_motion(T_S, machines=machines, rope=make_rope(N), beads=beads)
    assert not find_rope_off(RUN.sheet, motion, None, CLOCK)
