"""Rulings by the event's own rules."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.records.motion import MatchClock
from matchvision.records.results import Ruling
from matchvision.verdict.judging import rule
from tests.made_motion import make_motion, make_rope, make_run, seconds
from tests.truth import SAMPLE_CLIPS, read_run, read_truth_facts
from tests.truth_motion import true_clock, true_motion

T_S = seconds(4.5)
N = len(T_S)
CLOCK = MatchClock(0.0, 4.0)


def by_share(plus_m: float, u_m: float = 0.002, **rules: object) -> Ruling:
    rope = make_rope(N, on_plus_x_m=plus_m, on_minus_x_m=1 - plus_m, u_on_plus_x_m=u_m, u_on_minus_x_m=u_m)
    return rule(make_run(rules=rules), make_motion(T_S, rope=rope), CLOCK)


@pytest.mark.parametrize("clip", ["flat-match", "hand-held", "hitch-slips"])
def test_winner_and_margin_of_the_sample_clips(clip: str) -> None:
    folder = SAMPLE_CLIPS / clip
    truth = read_truth_facts(folder)["verdict"]
    ruling = rule(read_run(folder), true_motion(folder, np.random.default_rng(1)), true_clock(folder))
    assert ruling.winner == truth["winner"]
    assert ruling.sure
    assert 1000 * ruling.margin_m == pytest.approx(truth["margin_mm"], abs=3 * 1000 * ruling.u_margin_m)
    assert truth["winner"] in ruling.sentence


def test_margin_is_rope_beyond_half() -> None:
    ruling = by_share(0.3)
    assert (ruling.winner, ruling.sure) == ("heron", True)
    assert ruling.margin_m == pytest.approx(0.2)
    assert ruling.share == pytest.approx(0.7)
    assert "heron has won" in ruling.sentence


def test_swapping_sides_swaps_the_winner() -> None:
    one, other = by_share(0.57), by_share(0.43)
    assert (one.winner, other.winner) == ("plover", "heron")
    assert one.margin_m == pytest.approx(other.margin_m)


def test_close_result_names_the_leader_but_is_not_sure() -> None:
    ruling = by_share(0.503)
    assert ruling.winner == "plover"
    assert not ruling.sure
    assert "Too close to call" in ruling.sentence
    assert "94 %" in ruling.sentence


def test_larger_share_to_win_may_leave_nobody() -> None:
    ruling = by_share(0.55, share_to_win=0.6)
    assert ruling.winner is None
    assert ruling.margin_m == pytest.approx(-0.05)
    assert "Nobody has won" in ruling.sentence
    assert by_share(0.65, share_to_win=0.6).margin_m == pytest.approx(0.05)


def test_a_share_below_half_does_not_settle_who_is_ahead() -> None:
    """Both hold more than wins: by how much the larger share exceeds it says nothing of whose is the larger."""
    ruling = by_share(0.501, share_to_win=0.4)
    assert ruling.winner == "plover"
    assert ruling.margin_m == pytest.approx(0.101)
    assert not ruling.sure
    assert "plover is ahead with a probability of 70 %, else it is heron" in ruling.sentence
    assert by_share(0.55, share_to_win=0.4).sure


def test_load_run_has_no_winner() -> None:
    ruling = rule(make_run(kind="sled"), make_motion(T_S, rope=make_rope(N, on_plus_x_m=0.2, on_minus_x_m=0.8)), CLOCK)
    assert ruling.winner is None
    assert "no winner" in ruling.sentence


def test_clip_that_ends_early_or_hides_the_end_says_so() -> None:
    short = seconds(2.0)
    ended = rule(make_run(), make_motion(short, rope=make_rope(len(short))), CLOCK)
    assert ended.winner is None
    assert "ends at 2.00 s" in ended.sentence
    hidden = np.where(T_S > 3.0, np.nan, 0.6)
    covered = rule(make_run(), make_motion(T_S, rope=make_rope(N, on_plus_x_m=hidden, on_minus_x_m=hidden)), CLOCK)
    assert covered.winner is None
    assert "not seen" in covered.sentence
    assert "rope was not seen" in rule(make_run(), make_motion(T_S), CLOCK).sentence


@pytest.mark.parametrize(("x_m", "winner", "sure"), [(0.35, "plover", True), (-0.35, "heron", True), (0.2, None, True)])
def test_mark_past_its_line(x_m: float, winner: str | None, sure: bool) -> None:
    rules = {"decide": "mark-past-line", "mark": "middle", "line_m": 0.3}
    ruling = rule(make_run(rules=rules), make_motion(T_S, beads={"middle": (x_m, 0.0)}), CLOCK)
    assert (ruling.winner, ruling.sure) == (winner, sure)
    assert ruling.margin_m == pytest.approx(abs(x_m) - 0.3)


def pull_mark(x_m: FloatArray) -> Ruling:
    rules = {"decide": "mark-past-line", "mark": "middle", "line_m": 0.3}
    motion = make_motion(T_S, beads={"middle": (0.0, 0.0)})
    places = replace(motion.places, x_m=x_m[:, None])
    return rule(make_run(rules=rules), replace(motion, places=places), CLOCK)


def test_the_first_line_that_the_mark_passes_decides() -> None:
    """It goes past plover's line, comes back while operators let go, and at last lies past heron's."""
    ruling = pull_mark(np.interp(T_S, [0.0, 1.0, 2.0, 3.5], [0.0, 0.4, 0.2, -0.5]))
    assert (ruling.winner, ruling.sure) == ("plover", True)
    assert ruling.decided_at_s == pytest.approx(0.75, abs=0.01)
    assert ruling.margin_m == pytest.approx(0.1, abs=0.02)
    assert "passed its line at 0.75 s" in ruling.sentence


def test_a_mark_that_trembles_before_its_line_has_not_surely_passed() -> None:
    noise = np.random.default_rng(4).normal(0.0, 0.001, N)
    near = pull_mark(0.2995 + noise)
    assert not near.sure
    assert "Too close to call" in near.sentence
    far = pull_mark(0.28 + noise)
    assert (far.winner, far.sure) == (None, True)


def test_a_mark_that_was_hidden_may_have_passed() -> None:
    x_m = np.where((T_S > 1.0) & (T_S < 2.0), np.nan, 0.1)
    ruling = pull_mark(x_m)
    assert (ruling.winner, ruling.sure) == (None, False)
    assert "hidden for 1.0 s" in ruling.sentence


def test_mark_that_is_not_tracked_is_said() -> None:
    rules = {"decide": "mark-past-line", "mark": "middle", "line_m": 0.3}
    assert "middle" in rule(make_run(rules=rules), make_motion(T_S), CLOCK).sentence
