"""Scores of one machine's forecast in one run."""

import math

import numpy as np
import pytest

from matchvision.marking import score_machine
from matchvision.marking.parts import mark_win_chance
from matchvision.marking.scoring import win_probability
from matchvision.records.rubric import Rubric
from matchvision.uncertainty.scoring import brier_score
from tests.marking.made_result import make_result, row


def test_scores_are_those_of_their_definitions() -> None:
    rows = (
        row("distance towards home, heron", "m", (0.30, 0.02), (0.32, 0.0)),
        row("peak pull", "N", (19.0, 0.5), (18.0, 0.0)),
        row("distance towards home, plover", "m", (1.0, 0.02), (0.32, 0.0)),
        row("peak speed, heron", "m/s", (0.1, 0.0), (0.2, 0.0001)),
    )
    scores = score_machine(make_result(rows=rows), "heron")
    assert scores.brier == pytest.approx(brier_score([0.8], [1.0]), abs=1e-9)
    assert scores.quantities == 2  # the other machine's, and what was stated without an uncertainty, do not test it
    assert scores.inside == 1
    assert scores.rms_zeta == pytest.approx(math.sqrt((1.0**2 + 2.0**2) / 2))
    assert scores.mean_abs_en == pytest.approx(0.75)
    # CRPS of a normal prediction one and two standard deviations off: 0.602441 and 1.452792 of them.
    expected = np.mean([0.602441 * 0.02 / 0.32, 1.452792 * 0.5 / 18.0])
    assert scores.crps_ratio == pytest.approx(expected, rel=1e-5)


def test_what_cannot_be_scored_is_left_open() -> None:
    scores = score_machine(make_result(rows=(), winner=None, margin_m=None), "heron")
    assert scores.quantities == 0
    assert all(math.isnan(v) for v in (scores.brier, scores.rms_zeta, scores.mean_abs_en, scores.crps_ratio))


def test_how_surely_a_machine_has_won_is_what_the_verdict_tells() -> None:
    """Four tenths to win: both hold more, the winner by 51 of its u, and is ahead by half a u only."""
    close = make_result(margin_m=0.101, won={"heron": 0.69, "plover": 0.31})
    assert (win_probability(close, "heron"), win_probability(close, "plover")) == (0.69, 0.31)
    assert score_machine(close, "heron").brier == pytest.approx(0.69 * 0.2**2 + 0.31 * 0.8**2)
    nobody = make_result(winner=None, margin_m=-0.05, won={"heron": 0.02, "plover": 0.0})
    assert win_probability(nobody, "heron") == 0.02


def test_results_from_before_it_was_told_count_where_they_are_sure() -> None:
    sure = make_result()
    assert sure.verdict.winning is None
    assert (win_probability(sure, "heron"), win_probability(sure, "plover")) == (1.0, 0.0)
    close = sure.model_copy(update={"verdict": sure.verdict.model_copy(update={"sure": False})})
    assert math.isnan(win_probability(close, "heron"))
    mark = mark_win_chance(close, "heron", Rubric())
    assert math.isnan(mark.points)
    assert "analyse the clip again" in mark.arithmetic
