"""The chance to win with something changed."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.mechanics.fitted import FittedMatch
from matchvision.mechanics.machine import MatchModel, Pose
from matchvision.mechanics.rope import RopeModel
from matchvision.remedies.winning import MODEL_IN_CHANGE, Rerun
from matchvision.uncertainty.scoring import wilson_interval
from tests.remedies.test_limiting import HERON

N = 2000


def a_rerun(measured_m: float, u_measured_m: float, fitted_m: float) -> Rerun:
    model = MatchModel((HERON, HERON), (Pose(-0.5, 0.0, np.pi), Pose(0.5, 0.0, 0.0)), RopeModel(0.7))
    errors = np.random.default_rng(8).standard_normal((2, N))
    fitted = FittedMatch(model, (model,) * N, (), "as-predicted", "", 0.01)
    return Rerun(fitted, 0, measured_m, u_measured_m, 5.0, np.full(N, fitted_m), errors)


def test_changes_are_added_to_what_was_measured() -> None:
    """A model that is 5 mm off at the end tells how much a change brings; the 5 mm count as an uncertainty."""
    played = a_rerun(-0.100, 0.0, -0.105)
    assert played.gap_m == pytest.approx(0.005)
    spread_m = np.hypot(0.005, MODEL_IN_CHANGE * 0.1)
    for change_m in (0.08, 0.1, 0.1 + spread_m, 0.15):
        wins = np.mean(played.wins(np.full(N, -0.105 + change_m)))
        expected = 0.5 * (1 + np.tanh(0.7978845608 * ((change_m - 0.1) / spread_m)))  # near the normal distribution's
        assert wins == pytest.approx(expected, abs=0.05)
    assert not played.wins(np.full(N, -0.105)).any()


def test_measured_uncertainty_blurs_a_narrow_verdict() -> None:
    assert np.mean(a_rerun(-0.002, 0.002, -0.002).wins(np.full(N, -0.002))) == pytest.approx(0.159, abs=0.02)


def test_where_more_than_half_wins_a_lead_alone_does_not() -> None:
    """Six tenths of 0.7 m are 70 mm beyond half: a lead of 50 mm wins nothing there."""
    played = a_rerun(-0.1, 0.001, -0.1)
    assert played.wins(np.full(N, 0.05)).all()
    assert np.mean(replace(played, needed_m=0.07).wins(np.full(N, 0.05))) < 0.1
    assert replace(played, needed_m=0.07).wins(np.full(N, 0.15)).all()


def test_chance_is_never_certain_and_carries_its_range() -> None:
    played = a_rerun(-0.1, 0.001, -0.1)
    chance = played.chance(np.full(64, 0.3))
    assert chance.value == pytest.approx(64.5 / 65)
    assert (chance.low, chance.high) == wilson_interval(64, 64)


def test_home_is_where_a_machine_heads() -> None:
    fitted = a_rerun(-0.1, 0.0, -0.1).fitted
    assert (fitted.home_side(0), fitted.home_side(1)) == (-1, 1)
