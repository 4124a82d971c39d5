"""A sprung link against a stated length of rope that cannot be true."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.pull import measure_pull
from matchvision.pull.tautness import believe_stretched_link
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.sheet import HangTest, Run
from tests.made_motion import make_motion, make_rope, make_run, seconds

G = 9.80665
T_S = seconds(2.0)
CLOCK = MatchClock(0.0, 2.0)
MASSES_KG = np.array([0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
MARKERS = [{"name": "link_1", "colour": "yellow"}, {"name": "link_2", "colour": "yellow"}]
LINK = {"from_m": 0.2, "hang_test": "hang.csv", "markers": MARKERS, "u_reading_m": 0.0003}


def run_with_link() -> Run:
    rope = {"ends": ["heron", "plover"], "length_m": 1.1, "link": LINK}
    run = make_run(rope=rope, machine={"heron": {"home": "-x"}, "plover": {"home": "+x"}})
    return replace(run, hang_test=HangTest(MASSES_KG, 0.06 + MASSES_KG * G / 500, ("",) * len(MASSES_KG)))


def motion_of(pull_N: np.ndarray, slack: np.ndarray) -> Motion:
    noise_m = 0.0003 * np.random.default_rng(1).standard_normal(len(T_S))
    rope = make_rope(len(T_S), link_length_m=0.06 + pull_N / 500 + noise_m, u_link_length_m=0.0004, slack=slack)
    return make_motion(T_S, rope=rope)


def test_link_is_believed_against_a_wrong_length() -> None:
    """Ten newtons on the link all along; by a length stated 10 cm too long the rope would lie slack."""
    motion = motion_of(np.full(len(T_S), 10.0), np.ones(len(T_S)))
    pull, note = measure_pull(run_with_link(), motion, CLOCK)
    fused = pull.source("fused")
    assert fused is not None
    assert fused.tension_N == pytest.approx(10.0, abs=0.5)
    assert any("stated length (1.1 m)" in warning for warning in note.warnings)


def test_slack_rope_stays_slack() -> None:
    """A link at rest, and one that takes a tenth of a second to come to rest, contradict nothing."""
    for pull_N in (np.zeros(len(T_S)), np.where(T_S < 0.1, 8.0, 0.0)):
        motion = motion_of(pull_N, np.ones(len(T_S)))
        same, said = believe_stretched_link(run_with_link(), motion, T_S)
        assert same is motion
        assert not said


def test_only_where_it_is_stretched() -> None:
    pulls = T_S > 1.0
    same, said = believe_stretched_link(run_with_link(), motion_of(10.0 * pulls, np.ones(len(T_S))), T_S)
    assert same.rope is not None
    away = np.abs(T_S - 1.0) > 0.1
    assert ((same.rope.slack == 0) == pulls)[away].all()
    assert said
