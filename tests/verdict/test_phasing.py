"""Measured against predicted, phase by phase."""

import numpy as np
import pytest

from matchvision.records.motion import MatchClock
from matchvision.records.pull import Pull, PullSource
from matchvision.records.results import ComparisonRow, CurveRow, Phase
from matchvision.verdict.phasing import compare_curves, compare_phases
from tests.made_motion import make_machine, make_motion, make_rope, make_run, make_wheel, seconds, spread
from tests.verdict.test_comparing import foresee

T_S = seconds(4.5)
N = len(T_S)
CLOCK = MatchClock(0.0, 4.0)
PHASES = (Phase("first-pull", 0.0, 2.0, ""), Phase("contest", 2.0, 4.0, ""))


def compared(independent: bool = True) -> tuple[dict[tuple[str, str], ComparisonRow], tuple[CurveRow, ...]]:
    """Plover goes home at 0.1 m/s for 2 s, then stands with wheels that slip at 0.2 m/s; the pull falls to 12 N."""
    late = T_S > 2.0
    x_m = 0.1 * np.minimum(T_S, 2.0)
    moved = make_machine("plover", N, x_m=x_m, speed_m_s=np.where(late, 0.0, 0.1))
    wheel = make_wheel("plover", N, slip_speed_m_s=np.where(late, 0.2, 0.0))
    tension = np.where(late, 12.0, 20.0)
    source = PullSource("fused", tension, spread(0.3, N), spread(0.1, N), independent=independent, budget=())
    motion = make_motion(T_S, machines=[moved], wheels=[wheel], rope=make_rope(N))
    pull = Pull((source,), (), (), ())
    rows = compare_phases(make_run(), motion, pull, CLOCK, foresee(), PHASES)
    return {(r.quantity, r.phase): r for r in rows}, compare_curves(motion, pull, CLOCK, foresee(), PHASES)


def test_what_went_wrong_stands_in_its_phase() -> None:
    rows, _ = compared()
    assert rows["mean speed towards home, plover", "first-pull"].within == "yes"
    wrong = rows["mean speed towards home, plover", "contest"]
    assert (wrong.within, wrong.machine) == ("no", "plover")
    assert wrong.error == pytest.approx(0.1, abs=1e-3)
    assert rows["mean pull", "first-pull"].within == "yes"
    assert rows["mean pull", "contest"].error == pytest.approx(8.0, abs=0.1)
    assert rows["mean slip speed, plover", "contest"].error == pytest.approx(-0.2, abs=2e-3)
    assert rows["mean pull", "contest"].en == pytest.approx(8.0 / (2 * np.hypot(0.5, 0.3)), rel=0.02)


def test_pull_that_leans_on_the_forecast_is_kept_out() -> None:
    rows, curves = compared(independent=False)
    assert not any(quantity == "mean pull" for quantity, _ in rows)
    assert not any(curve.quantity == "pull" for curve in curves)


def test_curves_are_compared_over_the_run_and_each_phase() -> None:
    _, curves = compared()
    pulls = {curve.phase: curve for curve in curves if curve.quantity == "pull"}
    assert set(pulls) == {"", "first-pull", "contest"}
    assert pulls["first-pull"].size_ratio == pytest.approx(1.0, abs=0.01)
    assert pulls["contest"].size_ratio == pytest.approx(20 / 12, rel=0.02)
    assert pulls["first-pull"].inside_ratio == pytest.approx(1.0)
    assert pulls["contest"].inside_ratio < 0.02
