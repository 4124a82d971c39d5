"""Rope ends that came off, and ones whose cord is longer than stated, from made-up places."""

import numpy as np
import pytest

from matchvision.motion.ends import EndLook, find_off, longer_cord
from tests.made_motion import seconds

T_S = seconds(4.0)
N = len(T_S)


def look(gap_m: float | np.ndarray, hitch_x_m: np.ndarray, bead_x_m: np.ndarray, across_m: float = 0.0) -> EndLook:
    """An end whose hitch and bead move along x; on the table the bead would be seen 50 mm off the line."""
    hitch, bead = (np.column_stack([x, np.zeros(N)]) for x in (hitch_x_m, bead_x_m))
    return EndLook(np.broadcast_to(gap_m, N), bead, hitch, np.full(N, across_m), np.full(N, 0.05))


@pytest.mark.parametrize("shown_by", ["line", "motion"])
def test_longer_cord_is_told_from_one_that_came_off(shown_by: str) -> None:
    """The hitch drives off at 0.1 m/s from 1 s on. A cord 60 mm longer is taut at 1.6 s; a loose end lies."""
    hitch = 0.5 + 0.1 * np.clip(T_S - 1.0, 0, None)
    out = np.clip(hitch - 0.5, 0, None)
    straight = np.full(N, shown_by == "line")
    held = look(np.minimum(out, 0.06), hitch, 0.4 + np.maximum(out - 0.06, 0), across_m=0.0 if straight[0] else 0.05)
    assert longer_cord(held, straight, T_S) == pytest.approx(0.06, abs=0.003)
    # A loose end is off the line, on the table, and stays where it is.
    loose = look(out, hitch, np.full(N, 0.4), across_m=0.05)
    assert longer_cord(loose, straight, T_S) == 0.0
    assert find_off(loose.gap_m, T_S)[-1]
    # Nor does one count that the other machine drags away.
    dragged = look(2 * out, hitch, 0.4 - out, across_m=0.05)
    assert longer_cord(dragged, straight, T_S) == 0.0


def test_cord_as_long_as_stated_is_left_alone() -> None:
    hitch = 0.5 + 0.1 * T_S
    assert longer_cord(look(0.004, hitch, hitch - 0.1), np.full(N, fill_value=True), T_S) == 0.0


def test_camera_from_above_does_not_see_a_fallen_end_by_its_place() -> None:
    """What would look the same fallen or hanging is no evidence: only going along is."""
    lies = EndLook(np.full(N, 0.06), np.zeros((N, 2)), np.ones((N, 2)), np.zeros(N), np.full(N, 0.01))
    assert longer_cord(lies, np.full(N, fill_value=True), T_S) == 0.0
