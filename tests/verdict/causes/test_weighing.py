"""Explanations beside each other: a log, a hand, two at once, and none; each with few rivals, to stay quick."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.mechanics.machine import MatchModel
from matchvision.pipeline import start_poses
from matchvision.records.events import Event, EventKind, Grip
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.sheet import Quantity, Reach, Run
from matchvision.report.wording import cause_words
from matchvision.verdict.causes.priors import log_seen
from matchvision.verdict.causes.reasoning import as_logged, forecast_of, machine_paths, rows_of, seen_stopped
from matchvision.verdict.causes.refits.observing import Observed, observe
from matchvision.verdict.causes.refits.playing import Forecasted, player
from matchvision.verdict.causes.refits.refitting import Refit
from matchvision.verdict.causes.saying import say
from matchvision.verdict.causes.search.explaining import Explanation, explain
from matchvision.verdict.causes.search.finding import Found
from matchvision.verdict.causes.weighing import Weighed, chances_of, weigh, with_nothing
from tests.verdict.causes.changed_runs import changed_run, measured_points, two_changes, with_unmeasured_opponent

Measured = tuple[Run, Motion, Pull | None, MatchClock]


def prepared(measured: Measured) -> tuple[Forecasted, Observed, tuple[Explanation, ...]]:
    run, motion, pull, clock = measured
    forecasted = forecast_of(run, start_poses(run, motion, clock), clock.duration_s)
    observed = observe(run, motion, pull, clock, forecasted.names, clock.duration_s)
    model = forecasted.match(np.zeros(forecasted.numbers))
    unknown = tuple(name for name in forecasted.names if run.sheet.machine[name].unknown)
    return forecasted, observed, explain(model, unknown, clock.duration_s, *machine_paths(motion, clock, model))


def of(explanations: Sequence[Explanation], *wanted: tuple[str, str]) -> list[Explanation]:
    return [e for e in explanations if (e.cause, e.machine) in wanted and e.detail == ""]


@pytest.fixture(scope="module")
def plain() -> Measured:
    return measured_points(changed_run("as-predicted", 3), 3)


def test_chances_follow_evidence_as_far_as_it_is_known() -> None:
    """Known evidence: a normalised exponential. Of two, one known to 3 nats: the mean of a logistic of a normal."""
    assert chances_of([-1000.0, -1001.0, -1003.0], [0.0] * 3) == pytest.approx(
        np.exp([0.0, -1.0, -3.0]) / np.exp([0.0, -1.0, -3.0]).sum()
    )
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    blunt = weights @ (1 / (1 + np.exp(-(4.0 + 3.0 * nodes)))) / weights.sum()
    told = chances_of([4.0, 0.0], [0.0, 3.0])
    assert told[0] == pytest.approx(blunt, abs=0.04)
    assert told[0] < chances_of([4.0, 0.0], [0.0, 0.0])[0]
    assert sum(told) == pytest.approx(1.0)


def test_a_change_that_may_be_none_speaks_for_none() -> None:
    """Of two hitches found aside, one by less than its U95: the match without a change is as likely as that one."""
    fit = Refit(np.zeros(1), np.eye(1), 0.0, 0.01, ())
    aside = Explanation("turned", "heron", lambda match, _, __: match, lambda z: 0.03 * z, "m", none=0.0)
    unchanged = Found(100.0, fit, np.nan, np.nan, (), ())
    near, far = Found(108.0, fit, -0.0047, 0.0031, (), ()), Found(120.0, fit, 0.0200, 0.0031, (), ())
    dated = Found(130.0, fit, 0.001, 0.1, (), ())
    least = replace(aside, cause="less-grip", none=np.nan)
    told = with_nothing(unchanged, [(aside, near), (aside, far), (least, dated)])
    assert told.log_evidence == 108.0
    assert with_nothing(unchanged, [(aside, far), (least, dated)]).log_evidence == 100.0
    assert with_nothing(unchanged, [(aside, replace(near, log_evidence=99.0))]).log_evidence == 100.0


def test_a_size_that_may_be_much_larger_but_hardly_smaller_is_not_none() -> None:
    """Twice its standard uncertainty below it lies none; of the distribution itself, 2.5 % lie below 1.11."""
    unchanged = Found(100.0, Refit(np.zeros(1), np.eye(1), 0.0, 0.01, ()), np.nan, np.nan, (), ())
    mass = Explanation("wrong-mass", "heron", lambda match, _, __: match, lambda z: np.exp(0.35 * z), "1", none=1.0)
    even = replace(unchanged, log_evidence=106.0, size=1.41, u_size=0.22)
    uneven = replace(even, ends=(1.11, 1.89))
    assert with_nothing(unchanged, [(mass, even)]).log_evidence == 106.0
    assert with_nothing(unchanged, [(mass, uneven)]).log_evidence == 100.0
    weighed = Weighed("wrong-mass", mass, 0.85, 1.41, 0.22, (), (), unchanged.fit, ends=uneven.ends)
    assert say("wrong-mass", weighed, 0.85, None).startswith("heron weighed 1.41 (1.11 to 1.89) times what is stated")
    plain = say("wrong-mass", replace(weighed, ends=(0.98, 1.84)), 0.85, None)
    assert plain.startswith("heron weighed 1.41 ± 0.43 times")


def test_what_is_nearly_as_likely_stands_beside_the_likeliest() -> None:
    """Of a logged command as well, whose row has its machine's name only then; a lost share ends at 100 %."""
    fit = Refit(np.zeros(1), np.eye(1), 0.0, 0.01, ())
    lost = Explanation("drive-loss", "A", lambda match, _, __: match, lambda z: z, "1", dated=True)
    command = Weighed("command-changed", None, 0.6, np.nan, np.nan, (), (), fit)
    other = Weighed("drive-loss", lost, 0.4, 0.9, 0.1, (2.0,), (0.1,), fit, ends=(0.6, 1.05))
    first, second = rows_of((command, other), None, ("A",))
    assert (first.cause, first.machine) == ("command-changed", "A")
    assert "60 %, or A had lost 90 (60 to 100) % of its drive since 2.00 ± 0.20 s, 40 %" in first.statement
    assert " or " not in second.statement


def test_a_cause_that_leaves_much_only_comes_nearest() -> None:
    fit = Refit(np.zeros(1), np.eye(1), 0.0, 0.15, ())
    mass = Explanation("wrong-mass", "heron", lambda match, _, __: match, lambda z: 1 + z, "1", none=1.0)
    row = rows_of((Weighed("wrong-mass", mass, 1.0, 1.3, 0.1, (), (), fit),), None)[0]
    told = cause_words((row,), kind="match", forecast=True, compared=True)
    assert "only comes nearest of all that was tried" in told


def test_a_stop_that_was_seen_counts_as_much_as_a_false_alarm_is_rare() -> None:
    """One in a hundred is a false alarm: an event sure to 80 % is 80 times likelier where something did stop it."""
    assert log_seen(0.8) == pytest.approx(np.log(80.0))
    assert log_seen(0.0) == log_seen(0.005) == 0.0
    told: tuple[tuple[EventKind, str, float, float], ...] = (
        ("blocked", "heron", 2.0, 0.9),
        ("blocked", "heron", 4.5, 0.6),
        ("blocked", "plover", 6.0, 0.9),
        ("contact", "plover", 1.0, 0.9),
    )
    events = tuple(Event(kind, name, at_s, at_s + 0.6, 0.05, chance, "") for kind, name, at_s, chance in told)
    assert seen_stopped(Grip(events), 5.5) == {"heron": 0.9}
    assert seen_stopped(None, 5.5) == {}


@pytest.mark.slow
def test_logged_command_is_blamed_on_no_machine() -> None:
    changed = changed_run("command-changed", 2)
    measured = measured_points(changed, 2)
    forecasted, observed, explanations = prepared(measured)
    logged = replace(forecasted, run=as_logged(measured[0]))
    few = of(explanations, ("drive-loss", changed.machine), ("wrong-efficiency", changed.machine))
    weighed = weigh(forecasted, observed, few, None, logged)
    assert weighed[0].cause == "command-changed"
    rows = rows_of(weighed, None, (changed.machine,))
    assert (rows[0].cause, rows[0].machine) == ("command-changed", changed.machine)
    assert "logged command" in rows[0].statement
    # Without the log the same run is a drive that is partly gone.
    assert weigh(forecasted, observed, few, None)[0].cause == "drive-loss"


@pytest.mark.slow
def test_plan_that_was_logged_is_no_other_command(plain: Measured) -> None:
    forecasted, observed, _ = prepared(plain)
    plan = forecasted.run.sheet.forecast["heron"].throttle
    times_s = np.arange(0.0, 5.5, 0.05)
    share = np.interp(times_s, *np.array(plan).T)
    run = replace(forecasted.run, commands={"heron": np.column_stack([times_s, share])})
    weighed = weigh(forecasted, observed, (), None, replace(forecasted, run=as_logged(run)))
    assert [one.cause for one in weighed] == ["as-predicted", "unexplained"]


@pytest.mark.slow
def test_hand_that_was_seen_explains_what_it_did() -> None:
    changed = changed_run("touched", 2)
    measured = measured_points(changed, 2)
    touch = changed.touch
    assert touch is not None
    forecasted, observed, explanations = prepared(measured)
    few = of(explanations, ("less-grip", "heron"), ("less-grip", "plover"), ("wrong-mass", "plover"))
    weighed = weigh(forecasted, observed, few, (touch.start_s, touch.end_s))
    assert weighed[0].cause == "touched"
    row = rows_of(weighed, touch)[0]
    assert row.since_s == touch.start_s
    assert "hand" in row.statement


@pytest.mark.slow
def test_what_began_under_a_hand_is_told_with_the_hand() -> None:
    """A drive that fails while a hand is over the table is the hand's doing, as far as one can tell."""
    changed = changed_run("drive-loss", 1)
    forecasted, observed, explanations = prepared(measured_points(changed, 1))
    few = of(explanations, ("drive-loss", changed.machine))
    touch = Event("touch", changed.machine, changed.since_s - 0.4, changed.since_s + 0.4, 0.02, 0.98, "skin.")
    weighed = weigh(forecasted, observed, few, (touch.start_s, touch.end_s))
    row = rows_of(weighed, touch)[0]
    assert (row.cause, row.machine, row.unit) == ("touched", "", "")
    assert f"as if: {changed.machine} had lost" in row.statement
    assert sum(one.probability for one in weighed) == pytest.approx(1.0)


@pytest.mark.slow
def test_an_unmeasured_opponent_is_a_wide_guess() -> None:
    """Whatever its operator gave, the machine that is known went as it says."""
    changed = with_unmeasured_opponent(changed_run("as-predicted", 3))
    forecasted, observed, explanations = prepared(measured_points(changed, 3))
    assert set(forecasted.unplanned) == {"plover"}
    assert forecasted.stated["forecast.plover.stall_torque_Nm"].u > 0.3 * forecasted.stated[
        "forecast.plover.stall_torque_Nm"].value  # fmt: skip
    weighed = weigh(forecasted, observed, of(explanations, ("wrong-gear", "heron")), None)
    assert weighed[0].cause == "as-predicted"
    assert weighed[0].fit.residual_rms < 0.04


@pytest.mark.slow
def test_hand_over_a_run_that_went_as_predicted_changed_nothing(plain: Measured) -> None:
    forecasted, observed, _ = prepared(plain)
    touch = Event("touch", "heron", 2.0, 2.6, 0.02, 0.98, "skin over the table.")
    weighed = weigh(forecasted, observed, (), (touch.start_s, touch.end_s))
    assert weighed[0].cause == "as-predicted"


@pytest.mark.slow
def test_what_nothing_explains_is_said_with_its_misfit(plain: Measured) -> None:
    """Machines that swing to and fro do what no machine of the sheet can."""
    forecasted, observed, explanations = prepared(plain)
    swung = tuple(
        replace(s, values=s.values + 0.7 * s.scale * np.sin(5.0 * observed.t_s)) if s.what != "heading" else s
        for s in observed.series
    )
    few = of(explanations, ("less-grip", "heron"), ("wrong-mass", "plover"))
    weighed = weigh(forecasted, replace(observed, series=swung), few, None)
    assert weighed[0].cause == "unexplained"
    statement = rows_of(weighed, None)[0].statement
    assert "no single explanation" in statement
    assert "% of each quantity" in statement


@pytest.mark.slow
def test_two_causes_are_found_where_one_does_not_do() -> None:
    first, second = two_changes("late-start", "drive-loss", 1)
    forecasted, observed, explanations = prepared(measured_points(second, 1))
    few = of(
        explanations, ("late-start", first.machine), ("drive-loss", second.machine), ("wrong-mass", second.machine)
    )
    weighed = weigh(forecasted, observed, few, None)
    row = rows_of(weighed, None)[0]
    assert set(row.cause.split("+")) == {"late-start", "drive-loss"}
    assert set(row.machine.split(", ")) == {first.machine, second.machine}
    assert row.statement.startswith("Two things together")
    sizes = {part.cause: part for part in both(weighed[0])}
    assert sizes["late-start"].at[0] == pytest.approx(first.size, abs=0.1)
    assert sizes["drive-loss"].size == pytest.approx(second.size, abs=0.1)
    assert sizes["drive-loss"].at[0] == pytest.approx(second.since_s, abs=0.1)


def both(weighed: Weighed) -> tuple[Weighed, ...]:
    return (weighed,) if weighed.beside is None else (weighed, weighed.beside)


def model_of(measured: Measured) -> tuple[MatchModel, Forecasted]:
    forecasted = prepared(measured)[0]
    return forecasted.match(np.zeros(forecasted.numbers)), forecasted


def test_arm_goes_out_in_every_explanation_and_is_refused_without_its_time(plain: Measured) -> None:
    run, motion, pull, clock = plain
    sheet = run.sheet
    machine = sheet.machine["heron"].model_copy(update={"reach": Reach(stroke_m=0.1, mass_kg=0.3)})
    told = sheet.model_copy(update={"machine": {**sheet.machine, "heron": machine}})
    with pytest.raises(CannotMeasure, match="reach_s"):
        forecast_of(replace(run, sheet=told), start_poses(run, motion, clock), clock.duration_s)
    planned = sheet.forecast["heron"].model_copy(update={"reach_s": Quantity(value=0.6, u=0.1)})
    told = told.model_copy(update={"forecast": {**sheet.forecast, "heron": planned}})
    forecasted, observed, explanations = prepared((replace(run, sheet=told), motion, pull, clock))
    assert "forecast.heron.reach_s" in forecasted.free()
    model = forecasted.match(np.zeros(forecasted.numbers))
    k = forecasted.names.index("heron")
    arm = model.machines[k].arm
    assert arm is not None
    assert (arm.stroke_m, arm.lasts_s) == (0.1, 0.6)
    heavier = of(explanations, ("wrong-mass", "heron"))[0].change(model, 0.5, ())
    assert heavier.machines[k].arm == arm
    speeds = player(forecasted, observed)(model)
    assert all(np.isfinite(values).any() for values in speeds)


def test_explanations_change_what_they_name(plain: Measured) -> None:
    model, _ = model_of(plain)
    model = replace(model, machines=(model.machines[0], replace(model.machines[1], holding_N=10.0)))
    paths: list[tuple[float, float]] = [(-1.0, -0.4), (0.4, 1.0)]
    every = explain(model, ("plover",), 5.5, paths, [-0.9, 0.9])
    told = {(e.cause, e.machine): e for e in every if e.detail == ""}

    def changed(cause: str, machine: str, size: float = 0.5, at: tuple[float, ...] = ()) -> MatchModel:
        return told[cause, machine].change(model, size, at)

    ratio = float(told["wrong-mass", "heron"].size_of(0.5))
    heron, plover = model.machines
    assert heron.left is not None
    assert plover.left is not None
    assert changed("wrong-mass", "heron").machines[0].mass_kg == pytest.approx(ratio * heron.mass_kg)
    assert changed("opponent-heavier", "plover").machines[1].mass_kg == pytest.approx(ratio * plover.mass_kg)
    stronger = changed("opponent-stronger", "plover").machines[1].left
    assert stronger is not None
    assert stronger.stall_torque_Nm == pytest.approx(ratio * plover.left.stall_torque_Nm)
    assert stronger.free_rate_rad_s == plover.left.free_rate_rad_s
    taller = changed("wrong-gear", "heron").machines[0].left
    assert taller is not None
    assert taller.stall_torque_Nm == pytest.approx(ratio * heron.left.stall_torque_Nm)
    assert taller.free_rate_rad_s == pytest.approx(heron.left.free_rate_rad_s / ratio)
    assert changed("turned", "heron").machines[0].hitch_m[1] == pytest.approx(heron.hitch_m[1] + 0.015)
    assert changed("blocked", "plover", 0.0, (0.8,)).machines[1].changes.wall_x_m == 0.8
    weaker = told["anchor-weaker", "plover"]
    assert changed("anchor-weaker", "plover").machines[1].holding_N == pytest.approx(10.0 * (1 - weaker.size_of(0.5)))
    assert changed("late-start", "heron", 0.0, (0.7,)).machines[0].start_delay_s == pytest.approx(0.7)
    rope, base = changed("rope-longer", "").rope, model.rope
    assert rope is not None
    assert base is not None
    assert rope.length_m == pytest.approx(base.length_m + 0.025)
    let_go = changed("hitch-released", "", 0.0, (2.0,)).rope
    assert let_go is not None
    assert let_go.release_s == 2.0
    assert ("wrong-mass", "plover") not in told
    assert ("anchor-weaker", "heron") not in told
