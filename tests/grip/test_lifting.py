"""Lifted ends and machines that tip."""

import numpy as np
import pytest

from matchvision.grip.lifting import find_lifting, tip_angle_deg
from matchvision.records.motion import MatchClock
from matchvision.records.sheet import Machine
from tests.made_motion import make_machine, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(0.5, 3.5)
SHEET = Machine(home="+x", mass_kg=2.5, size_m=(0.28, 0.23, 0.12), wheelbase_m=0.17, centre_of_mass_m=(0.0, 0.0, 0.06))


def test_nose_that_comes_up_is_dated() -> None:
    generator = np.random.default_rng(1)
    pitch = np.clip(20.0 * (T_S - 1.5), 0.0, 8.0) + 0.2 * generator.standard_normal(N)
    moved = make_machine("heron", N, pitch_deg=pitch, u_pitch_deg=0.2)
    (event,) = find_lifting(moved, SHEET, T_S, CLOCK)
    assert (event.kind, event.machine) == ("lifted", "heron")
    assert event.start_s + 0.5 == pytest.approx(1.5 + 3.0 / 20.0, abs=0.03)
    assert "The front of heron" in event.evidence


def test_level_machine_is_not_lifted() -> None:
    generator = np.random.default_rng(2)
    for u in (0.2, 1.5):
        noise = u * generator.standard_normal(N)
        moved = make_machine("heron", N, pitch_deg=noise, roll_deg=noise[::-1], u_pitch_deg=u, u_roll_deg=u)
        assert not find_lifting(moved, SHEET, T_S, CLOCK)
    assert not find_lifting(make_machine("heron", N), SHEET, T_S, CLOCK)


def test_machine_that_goes_over_has_tipped() -> None:
    roll = -np.clip(90.0 * (T_S - 2.0), 0.0, 85.0)
    moved = make_machine("heron", N, roll_deg=roll, u_roll_deg=0.5)
    lifted, tipped = find_lifting(moved, SHEET, T_S, CLOCK)
    assert (lifted.kind, tipped.kind) == ("lifted", "tipped")
    limit = tip_angle_deg(SHEET, 1)
    assert limit == pytest.approx(np.degrees(np.arctan2(0.45 * 0.23, 0.06)))
    assert tipped.start_s + 0.5 == pytest.approx(2.0 + limit / 90.0, abs=0.03)
    assert "right side" in tipped.evidence


def test_machine_lost_on_end_with_its_markers_in_view_has_tipped() -> None:
    """Up to 36° it is followed, then fits no tilt. Hidden markers, or a nose that comes down, say nothing."""
    pitch = np.where(T_S < 2.0, np.clip(40 * (T_S - 1.1), 0, 40), np.nan)
    moved = make_machine("heron", N, pitch_deg=pitch, u_pitch_deg=1.0)
    seen = np.full(N, 2)
    found = find_lifting(moved, SHEET, T_S, CLOCK, seen)
    (event,) = (e for e in found if e.kind == "tipped")
    assert event.start_s == pytest.approx(2.0 - CLOCK.start_clip_s, abs=0.05)
    assert 0.5 < event.probability < 0.95
    assert not [e for e in find_lifting(moved, SHEET, T_S, CLOCK, np.where(T_S < 2.0, seen, 0)) if e.kind == "tipped"]
    again = make_machine("heron", N, pitch_deg=np.where(T_S > 2.15, 0.0, pitch), u_pitch_deg=1.0)
    assert not [e for e in find_lifting(again, SHEET, T_S, CLOCK, seen) if e.kind == "tipped"]


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (0, "none of its markers was seen"),
        (1, "only one of its markers was seen"),
        (2, "what was seen of it fitted no tilt"),
    ],
)
def test_machine_lost_from_sight_while_it_was_up_is_said(left: int, said: str) -> None:
    """Up to 12°, then lost: that it came down again is not told."""
    pitch = np.where(T_S < 2.0, np.clip(20.0 * (T_S - 1.4), 0.0, 12.0), np.nan)
    moved = make_machine("heron", N, pitch_deg=pitch, u_pitch_deg=0.3)
    (event,) = find_lifting(moved, SHEET, T_S, CLOCK, np.where(T_S < 2.0, 2, left))
    assert f"It was last seen up by 12°, then {said}" in event.evidence
    whole = make_machine("heron", N, pitch_deg=np.where(T_S < 2.0, pitch, 0.0), u_pitch_deg=0.3)
    (event,) = find_lifting(whole, SHEET, T_S, CLOCK, np.full(N, 2))
    assert "last seen" not in event.evidence
