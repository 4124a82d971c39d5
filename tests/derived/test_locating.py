"""Places told from where a machine was seen: against an edge whose place is known."""

import numpy as np
import pytest

from matchvision.verdict.causes.locating import crossings, met_ends, moved_by
from matchvision.verdict.causes.search.finding import MODEL_IN_TIME_S


def test_an_edge_lies_where_the_machine_was_seen() -> None:
    """A match that runs 4 mm ahead of the machine meets the edge 4 mm beyond it; speed times lateness is its u."""
    times_s = np.arange(0.0, 4.0, 0.02)
    seen_m = 0.5 + 0.1 * times_s
    computed_m = seen_m + 0.004
    place_m = 0.7001 + 0.004  # met by the match when the machine is seen at 0.7001
    near = crossings(computed_m, place_m)
    assert len(near) == 1
    off_m, u_off_m = seen_m - computed_m, np.full(len(times_s), 0.0005)
    shift_m, u_m = moved_by(near, off_m, u_off_m, np.gradient(computed_m, times_s))
    assert place_m + shift_m == pytest.approx(0.7001, abs=1e-9)
    assert u_m == pytest.approx(np.hypot(0.1 * MODEL_IN_TIME_S, 0.0005))


def test_meetings_that_disagree_make_a_place_less_sure() -> None:
    off_m = np.array([0.002, 0.002, 0.008, 0.008])
    shift_m, u_m = moved_by(np.array([0, 3]), off_m, np.zeros(4), np.zeros(4))
    assert (shift_m, u_m) == pytest.approx((0.005, 0.003))


def test_an_end_that_nothing_came_past_is_not_told() -> None:
    """A base that went from 0.20 to 0.77 came 0.15 m past one end, and past the other by less than that is known to."""
    assert met_ends((0.22, 0.36), (0.02, 0.02), 0.20, 0.77) == pytest.approx([np.nan, 0.36], nan_ok=True)
    assert met_ends((0.22, 0.36), (0.005, 0.02), 0.20, 0.77) == pytest.approx([0.22, 0.36])
    assert met_ends((0.22, 0.76), (0.005, 0.02), 0.20, 0.77) == pytest.approx([0.22, np.nan], nan_ok=True)


def test_a_place_that_was_never_met_is_as_sure_as_the_whole_way() -> None:
    off_m = np.array([np.nan, 0.001, 0.003])
    assert moved_by(np.array([], dtype=np.intp), off_m, np.zeros(3), np.zeros(3)) == pytest.approx((0.002, 0.001))
    assert moved_by(np.array([0]), np.full(3, np.nan), np.zeros(3), np.zeros(3)) == (0.0, 0.0)
