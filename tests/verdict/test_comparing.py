"""Rows of measured against predicted."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.records.events import Event, Grip
from matchvision.records.forecast import ForecastMachine, ForecastRun
from matchvision.records.motion import MatchClock
from matchvision.records.pull import Pull, PullSource
from matchvision.records.results import ComparisonRow, Ruling, Winning
from matchvision.verdict.comparing import compare_quantity, compare_run, find_peak
from tests.made_motion import make_machine, make_motion, make_rope, make_run, make_wheel, seconds, spread

T_S = seconds(4.5)
N = len(T_S)
CLOCK = MatchClock(0.0, 4.0)
NAN = float("nan")
#: As surely as 0.3 m with a u of 2 mm make it.
WON = Winning({"heron": 0.0, "plover": 1.0}, 0.0, 0.3, 0.002)


def foresee(first_slip_s: float = NAN, slip_chance: float = 0.0) -> ForecastRun:
    """Plover goes home at 0.1 m/s, 20 N in the rope."""
    t_s = seconds(4.0, 0.01)
    n = len(t_s)
    zero, some = np.zeros(n), np.full(n, 0.01)
    plover = ForecastMachine(
        machine="plover", x_m=0.1 * t_s, y_m=zero, heading_deg=zero, speed_m_s=np.full(n, 0.1), slip_speed_m_s=zero,
        traction_N=zero, u_x_m=0.01 * t_s, u_y_m=some, u_heading_deg=some, u_speed_m_s=some, u_slip_speed_m_s=some,
        u_traction_N=some, first_slip_s=first_slip_s, u_first_slip_s=0.2, slip_chance=slip_chance,
    )  # fmt: skip
    return ForecastRun(
        t_s=t_s, machines={"plover": plover}, tension_N=np.full(n, 20.0), u_tension_N=np.full(n, 0.5),
        on_plus_x_m=0.5 + 0.1 * t_s, u_on_plus_x_m=0.01 * t_s, winner="plover",
        win_chance={"plover": 0.97, "heron": 0.03}, margin_m=0.4, u_margin_m=0.04, samples=1, seed=1,
    )  # fmt: skip


def compare(
    speed_m_s: float, tension_N: float, *, forecast: ForecastRun | None = None, slip_s: float = NAN
) -> dict[str, ComparisonRow]:
    moved = make_machine("plover", N, x_m=speed_m_s * T_S, speed_m_s=speed_m_s)
    rope = make_rope(N, on_plus_x_m=0.5 + speed_m_s * T_S, on_minus_x_m=0.5 - speed_m_s * T_S)
    motion = make_motion(T_S, machines=[moved], wheels=[make_wheel("plover", N)], rope=rope)
    source = PullSource("fused", spread(tension_N, N), spread(0.2, N), spread(0.1, N), independent=True, budget=())
    events = () if np.isnan(slip_s) else (Event("slip", "plover", slip_s, 4.0, 0.02, 1.0, "seen"),)
    ruling = Ruling(
        "plover", 0.3, 0.002, sure=True, sentence="", share=0.8, u_share=0.002, decided_at_s=4.0, winning=WON
    )
    pull = Pull((source,), (), (), ())
    rows = compare_run(make_run(), motion, pull, Grip(events), CLOCK, forecast or foresee(), ruling)
    return {c.row.quantity: c.row for c in rows}


def test_what_agrees_and_what_does_not() -> None:
    rows = compare(0.095, 26.0)
    distance = rows["distance towards home, plover"]
    assert distance.predicted == pytest.approx(0.4)
    assert distance.measured == pytest.approx(0.38)
    assert distance.error == pytest.approx(0.02)
    # 10 mm/s at 4 s of foresight, and 0.5 mm at each end of the measured way.
    assert distance.u_validation == pytest.approx(np.sqrt(0.04**2 + 2 * 0.0005**2), rel=0.01)
    assert distance.within == "yes"
    assert rows["peak pull"].within == "no"
    assert rows["peak pull"].error == pytest.approx(-6.0)
    assert rows["rope on the +x side at the end"].measured == pytest.approx(0.88)
    assert rows["peak speed, plover"].measured == pytest.approx(0.095)
    assert rows["mean speed towards home, plover"].predicted == pytest.approx(0.1)


def test_blunt_comparison_is_inconclusive() -> None:
    assert compare_quantity("pull", "N", (20.0, 5.9), (24.0, 0.2), 24.0).within == "yes"
    assert compare_quantity("pull", "N", (20.0, 7.0), (24.0, 0.2), 24.0).within == "inconclusive"
    # Even a blunt comparison can contradict.
    assert compare_quantity("pull", "N", (60.0, 7.0), (24.0, 0.2), 24.0).within == "no"
    assert compare_quantity("pull", "N", (20.0, NAN), (24.0, 0.2), 24.0).within == "inconclusive"


def test_slip_that_only_one_side_has() -> None:
    name = "first slip, plover"
    assert compare(0.1, 20.0, forecast=foresee(2.0, 1.0), slip_s=2.1)[name].within == "yes"
    assert compare(0.1, 20.0, slip_s=2.1)[name].within == "no"
    assert compare(0.1, 20.0, forecast=foresee(2.0, 0.99))[name].within == "no"
    assert compare(0.1, 20.0, forecast=foresee(2.0, 0.6))[name].within == "inconclusive"
    assert name not in compare(0.1, 20.0)


def test_chances_can_only_be_contradicted() -> None:
    rows = compare(0.1, 20.0, forecast=replace(foresee(), win_chance={"plover": 0.97, "heron": 0.03}))
    assert rows["chance to win, plover"].within == "inconclusive"
    surprised = compare(0.1, 20.0, forecast=replace(foresee(), win_chance={"plover": 0.03, "heron": 0.97}))
    assert surprised["chance to win, plover"].within == "no"
    assert surprised["chance to win, plover"].error == pytest.approx(-0.97)


def test_numbers_stated_beforehand_are_compared() -> None:
    stated = {"plover": {"peak_pull_N": {"value": 20.0, "u": 1.0}, "win_chance": 0.8}}
    moved = make_machine("plover", N)
    source = PullSource("fused", spread(20.5, N), spread(0.2, N), spread(0.1, N), independent=True, budget=())
    ruling = Ruling(
        "plover", 0.3, 0.002, sure=True, sentence="", share=0.8, u_share=0.002, decided_at_s=4.0, winning=WON
    )
    compared = compare_run(
        make_run(forecast=stated),
        make_motion(T_S, machines=[moved]),
        Pull((source,), (), (), ()),
        None,
        CLOCK,
        None,
        ruling,
    )
    told = {c.row.quantity: c.row for c in compared}
    assert told["peak pull, as stated by plover"].error == pytest.approx(-0.5)
    assert told["chance to win, plover, as stated"].error == pytest.approx(-0.2)


def test_pull_that_leans_on_the_forecast_is_kept_out() -> None:
    source = PullSource("fused", spread(20.5, N), spread(0.2, N), spread(0.1, N), independent=False, budget=())
    motion = make_motion(T_S, machines=[make_machine("plover", N)], rope=make_rope(N))
    compared = compare_run(make_run(), motion, Pull((source,), (), (), ()), None, CLOCK, foresee(), None)
    assert "peak pull" not in {c.row.quantity for c in compared}


def test_peak_is_no_single_frame() -> None:
    values = np.where(np.arange(N) == 100, 500.0, 10.0)
    found = find_peak(values, spread(0.1, N), T_S, 4.0)
    assert found is not None
    assert found[0] == pytest.approx(10 + 490 / 13)
    assert find_peak(np.full(N, NAN), spread(0.1, N), T_S, 4.0) is None
