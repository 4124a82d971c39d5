"""The verdict stage with whatever there is."""

import numpy as np

from matchvision.records.motion import MatchClock
from matchvision.verdict import judge
from tests.made_motion import make_motion, make_rope, make_run, seconds
from tests.truth import SAMPLE_CLIPS, read_run
from tests.truth_motion import true_clock, true_motion

T_S = seconds(4.5)


def test_ruling_alone_without_a_forecast() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    motion = true_motion(folder, np.random.default_rng(2))
    verdict, note = judge(read_run(folder), motion, None, None, true_clock(folder), None)
    assert verdict.ruling is not None
    assert verdict.ruling.winner == "plover"
    assert not verdict.comparison
    assert not verdict.causes
    assert note.status == "done"
    assert "forecast" in note.advice[0]


def test_match_without_data_at_the_end_is_only_partly_judged() -> None:
    gone = np.where(T_S > 2.0, np.nan, 0.5)
    motion = make_motion(T_S, rope=make_rope(len(T_S), on_plus_x_m=gone, on_minus_x_m=gone))
    verdict, note = judge(make_run(), motion, None, None, MatchClock(0.0, 4.0), None)
    assert verdict.ruling is not None
    assert verdict.ruling.winner is None
    assert note.status == "partly"
