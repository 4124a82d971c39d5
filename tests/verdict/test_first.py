"""What is told first agrees with the truth, and with the ruling that comes later."""

import re

import numpy as np
import pytest

from matchvision.records.motion import MatchClock
from matchvision.verdict.first import tell_first
from matchvision.verdict.judging import rule
from tests.made_motion import make_motion, make_rope, make_run, seconds
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, read_truth_facts
from tests.truth_motion import true_clock, true_motion

WAY = re.compile(r": ([\d.]+) ± ([\d.]+) m (towards|away)")


@pytest.mark.parametrize("clip", ["flat-match", "hitch-slips"])
def test_the_first_answer_of_a_sample_clip_is_true(clip: str) -> None:
    folder = SAMPLE_CLIPS / clip
    run, motion, clock = read_run(folder), true_motion(folder, np.random.default_rng(2)), true_clock(folder)
    first = tell_first(run, motion, clock)
    assert first.ruling == rule(run, motion, clock)
    assert read_truth_facts(folder)["verdict"]["winner"] in first.ruling.sentence
    truth = read_truth(folder)
    t_s = clock.match_time(truth["pts_s"].to_numpy())
    end_s = min(clock.duration_s, float(t_s[-1]))
    for name, machine in run.sheet.machine.items():
        said = next(line for line in first.moved if line.startswith(f"{name}:"))
        told = WAY.search(said)
        assert told is not None
        way_m, u95_m = float(told[1]) * (1 if told[3] == "towards" else -1), float(told[2])
        x_m = truth[f"{name}_pos_x"].to_numpy()
        true_m = float(np.interp(end_s, t_s, x_m) - np.interp(0.0, t_s, x_m))
        assert way_m == pytest.approx(true_m if machine.home == "+x" else -true_m, abs=1.5 * u95_m + 0.001)


def test_what_is_not_known_is_not_told() -> None:
    t_s = seconds(2.0)
    first = tell_first(make_run(), make_motion(t_s), MatchClock(0.0, 4.0))
    assert first.ruling.winner is None
    assert first.moved == ()
    rope = make_rope(len(t_s), on_plus_x_m=0.7, on_minus_x_m=0.3)
    told = tell_first(make_run(), make_motion(t_s, rope=rope), MatchClock(0.0, 1.5))
    assert told.moved[0].startswith("Rope when the clock stopped: 0.300")
