"""Slip transitions are found wherever the match is asked for."""

from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchvision.mechanics.events import lasting_slip_s
from matchvision.mechanics.machine import MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import SLIP_LASTS_S, play_match, play_match_quickly
from matchvision.mechanics.rope import RopeModel

END_S: Final = 3.0


def pulsed() -> MatchModel:
    """Heron's drive comes in short blips, each too strong for its grip."""
    blips = tuple(p for k in range(4) for p in ((0.3 + 0.6 * k, 0.1), (0.32 + 0.6 * k, 1.0), (0.42 + 0.6 * k, 0.1)))
    strong, weak = SideDrive(1.4, 6.0, 0.02, throttle=blips), SideDrive(0.5, 5.0, 0.02)

    def machine(name: str, side: SideDrive) -> MachineModel:
        return MachineModel(
            name, 2.5, (0.28, 0.234, 0.12), (0.0, 0.0, 0.06), (-0.145, 0.0, 0.052), 0.7, 0.6, wheelbase_m=0.17,
            track_m=0.21, wheel_radius_m=0.045, left=side, right=side,
        )  # fmt: skip

    return MatchModel(
        (machine("heron", strong), machine("plover", weak)), (Pose(-0.67, 0.0, np.pi), Pose(0.67, 0.01, 0.0)),
        RopeModel(1.05),
    )  # fmt: skip


def transitions(events: tuple[tuple[str, str, float], ...]) -> list[tuple[str, str, float]]:
    return [event for event in events if event[0] in ("slip", "grip")]


REFERENCE: Final = transitions(play_match(pulsed(), np.linspace(0, END_S, 1501)).events)


def test_every_blip_slips_and_grips_again() -> None:
    heron = [word for word, name, _ in REFERENCE if name == "heron"]
    assert heron == ["slip", "grip"] * 4


@settings(deadline=None, max_examples=12)
@given(rows=st.integers(2, 400))
def test_transitions_do_not_move_with_the_output_step(rows: int) -> None:
    """Even with two rows, seconds apart, the quick solver finds each slip of a tenth of a second at the same time."""
    found = transitions(play_match_quickly(pulsed(), np.linspace(0, END_S, rows)).events)
    finest = transitions(play_match_quickly(pulsed(), np.linspace(0, END_S, 1501)).events)
    assert found == finest
    assert [event[:2] for event in found] == [event[:2] for event in REFERENCE]
    np.testing.assert_allclose([event[2] for event in found], [event[2] for event in REFERENCE], atol=2e-3)


def test_exact_transitions_do_not_move_with_the_output_step() -> None:
    assert transitions(play_match(pulsed(), np.array([0.0, END_S])).events) == REFERENCE


def test_only_slip_that_lasts_counts() -> None:
    events = (("taut", "", 0.1), ("slip", "a", 0.2), ("grip", "a", 0.3), ("slip", "b", 0.3), ("slip", "a", 0.5))
    assert lasting_slip_s(events, "a", 1.0, SLIP_LASTS_S) == 0.5
    assert np.isnan(lasting_slip_s(events, "a", 0.6, SLIP_LASTS_S))
    assert lasting_slip_s(events, "b", 1.0, 0.15) == pytest.approx(0.3)
