"""The predicted run from sheets: what it needs, what it says, what it leaves out."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Final

import numpy as np
import pytest

from matchvision.cli.telling import tell_forecast
from matchvision.errors import CannotMeasure
from matchvision.forecast import chance_interval, follow_end, predict_run
from matchvision.forecast.deciding import decide
from matchvision.mechanics.guessing import guess_opponent
from matchvision.records.motion import MachineMotion, MatchClock
from matchvision.records.sheet import ForecastCurve, HangTest, Run, RunSheet, StartPose

STARTS: Final = {
    "heron": StartPose(at_m=(-0.685, -0.03), heading_deg=177.5),
    "plover": StartPose(at_m=(0.685, 0.025), heading_deg=2.0),
    "sled": StartPose(at_m=(0.63, 0.0), heading_deg=0.0),
}


def machine(home: str, mass_kg: float = 2.5, **more: Any) -> dict[str, Any]:
    wheel = {"name": "front", "radius_m": 0.045, "face_m": [0.085, 0.118, 0.045]}
    return {
        "home": home,
        "mass_kg": mass_kg,
        "hitch": {"at_m": [-0.145, 0.0, 0.052]},
        "size_m": [0.28, 0.234, 0.12],
        "wheelbase_m": 0.17,
        "wheel": [wheel],
        **more,
    }


def drive(stall_Nm: float = 0.0036, **more: Any) -> dict[str, Any]:
    return {
        "motors": 2,
        "stall_torque_Nm": {"value": stall_Nm, "u": 0.03 * stall_Nm},
        "no_load_rev_min": 12000,
        "gear_ratio": 236,
        "drive_efficiency": {"value": 0.72, "u": 0.03},
        "drive_friction_Nm": 0.09,
        "grip_static": {"value": 0.8, "u": 0.05},
        **more,
    }


def sheet(**blocks: Any) -> dict[str, Any]:
    return {
        "run": {"name": "practice", "kind": "match", "clip": "clip.mp4"},
        "clock": {"start_s": 1.0, "duration_s": 3.0},
        "table": {"length_m": 2.2, "width_m": 1.1},
        "rope": {"length_m": 1.09, "ends": ["heron", "plover"]},
        "machine": {"heron": machine("-x"), "plover": machine("+x", 3.1)},
        "forecast": {"heron": drive(), "plover": drive(0.0042)},
        **blocks,
    }


def run_of(content: dict[str, Any], **more: Any) -> Run:
    return Run(sheet=RunSheet.model_validate(content), folder=Path(), **more)


def test_stronger_machine_is_predicted_to_win() -> None:
    forecast, note = predict_run(run_of(sheet()), STARTS, samples=32)
    assert forecast.winner == "plover"
    assert forecast.win_chance["plover"] > 0.8
    assert sum(forecast.win_chance.values()) == pytest.approx(1.0)
    assert forecast.margin_m == pytest.approx(forecast.on_plus_x_m[-1] - 1.09 / 2, abs=0.01)
    assert forecast.samples == 32
    assert forecast.t_s[0] == 0
    assert forecast.t_s[-1] == pytest.approx(3.0)
    heron = forecast.machines["heron"]
    assert heron.x_m[0] == pytest.approx(-0.685)
    assert heron.u_x_m[0] == pytest.approx(0.0, abs=1e-12)
    assert heron.u_x_m[-1] > 0
    low, high = heron.first_slip_95_s
    assert 0 < low <= heron.first_slip_s <= high < 3
    assert heron.speed_m_s[-1] < 0 < forecast.machines["plover"].speed_m_s[-1]
    assert note.status == "done"
    assert "throttle is not stated" in note.sentence


def test_wider_inputs_give_wider_bands() -> None:
    unsure = drive(grip_static={"value": 0.8, "u": 0.1})
    wide = sheet(forecast={"heron": unsure, "plover": drive(0.0042, grip_static={"value": 0.8, "u": 0.1})})
    narrow = predict_run(run_of(sheet()), STARTS, samples=32)[0]
    assert predict_run(run_of(wide), STARTS, samples=32)[0].u_margin_m > 1.3 * narrow.u_margin_m


def test_without_uncertainties_there_are_no_bands_and_a_warning() -> None:
    bare = drive(stall_torque_Nm=0.0036, drive_efficiency=0.72, grip_static=0.8)
    forecast, note = predict_run(run_of(sheet(forecast={"heron": bare, "plover": bare})), STARTS)
    assert forecast.samples == 1
    assert np.all(forecast.u_tension_N == 0)
    assert any("no bands" in warning for warning in note.warnings)


def test_every_missing_number_is_named_at_once() -> None:
    content = sheet(forecast={"heron": {"motors": 2, "grip_static": 0.8, "stall_torque_Nm": 0.0036}})
    content["machine"]["plover"] = {"home": "+x"}
    with pytest.raises(CannotMeasure) as caught:
        predict_run(run_of(content), {"heron": STARTS["heron"]})
    for key in (
        "[forecast.heron] no_load_rev_min",
        "[forecast.heron] gear_ratio",
        "[machine.plover] mass_kg",
        "[machine.plover] hitch",
        "[forecast.plover] stall_torque_Nm",
        "[machine.plover] start",
    ):
        assert key in caught.value.do


def test_an_opponent_without_numbers_is_a_wide_guess() -> None:
    """A machine like its rival, give or take much: who wins is open, and the end much wider than between known ones."""
    content = sheet(forecast={"heron": drive()})
    content["machine"]["plover"] = {"home": "+x", "unknown": True}
    content["machine"]["heron"] = machine("-x", 2.8)
    guessed, note = predict_run(run_of(content), STARTS, samples=128)
    assert 0.25 < guessed.win_chance["heron"] < 0.75
    assert any("a machine like heron" in text for text in guessed.assumed)
    assert "a machine like heron" in note.sentence
    alike = sheet(forecast={"heron": drive(), "plover": drive()})
    alike["machine"] |= {"heron": machine("-x", 2.8), "plover": machine("+x", 2.8)}
    stated = predict_run(run_of(alike), STARTS, samples=128)[0]
    assert guessed.u_on_plus_x_m[-1] > 1.5 * stated.u_on_plus_x_m[-1]


def test_what_is_stated_of_an_unknown_opponent_stays() -> None:
    content = sheet(forecast={"heron": drive(), "plover": {"grip_static": 0.4}})
    content["machine"]["plover"] = {"home": "+x", "unknown": True, "mass_kg": 9.0}
    run, told = guess_opponent(run_of(content))
    plover, planned = run.sheet.machine["plover"], run.sheet.forecast["plover"]
    assert (plover.mass_kg, plover.u_mass_kg) == (9.0, 0.0)
    assert planned.grip_sliding == planned.grip_static == run_of(content).sheet.forecast["plover"].grip_static
    assert planned.stall_torque_Nm is not None
    assert planned.stall_torque_Nm.u == pytest.approx(0.4 * planned.stall_torque_Nm.value)
    assert told
    # Nothing is guessed where the rival is no machine with a drive, nor of an opponent that is known.
    assert guess_opponent(run_of(sheet()))[1] == ()
    both = sheet(forecast={"heron": {"grip_static": 0.8}})
    both["machine"]["plover"] = {"home": "+x", "unknown": True}
    with pytest.raises(CannotMeasure):
        predict_run(run_of(both), STARTS)


def test_one_machine_on_a_rope_that_moves_as_measured() -> None:
    """The opponent's hitch goes where a whole match says that it goes: alone, the machine meets the same match."""
    bare = {"stall_torque_Nm": 0.0036, "drive_efficiency": 0.72}
    content = sheet(forecast={"heron": drive(**bare)})
    content["machine"]["plover"] = machine("+x", 3.1, unknown=True)
    alone_run = run_of(content)
    sure = {"heron": drive(**bare, grip_static=0.8), "plover": drive(0.0042, **bare, grip_static=0.9)}
    whole = predict_run(run_of(sheet(forecast=sure)), STARTS)[0]
    plover = whole.machines["plover"]
    filler = {name: np.zeros(len(whole.t_s)) for name in MachineMotion.__dataclass_fields__ if name != "machine"}
    moved = MachineMotion("plover", **{**filler, **{n: getattr(plover, n) for n in ("x_m", "y_m", "heading_deg")}})
    motion = SimpleNamespace(machines={"plover": moved}, clip_s=whole.t_s + 1.0)
    end = follow_end(alone_run, motion, MatchClock(1.0, 3.0))  # type: ignore[arg-type]
    assert end is not None
    alone, note = predict_run(alone_run, STARTS, samples=32, far_end=end)
    assert list(alone.machines) == ["heron"]
    own, same = alone.machines["heron"], whole.machines["heron"]
    np.testing.assert_allclose(own.speed_m_s[1:], same.speed_m_s[1:], atol=0.02)
    np.testing.assert_allclose(own.slip_speed_m_s[1:], same.slip_speed_m_s[1:], atol=0.02)
    pulling = whole.t_s > 1.0
    np.testing.assert_allclose(alone.tension_N[pulling], whole.tension_N[pulling], rtol=0.03)
    assert alone.u_tension_N[-1] > 0.3  # its own grip is not better known for that
    assert np.isnan(own.x_m).all()  # it follows from where the other end was
    assert alone.winner == ""
    assert note.status == "partly"
    assert any("computed alone on a rope" in text for text in alone.left_out)
    assert follow_end(run_of(sheet()), motion, MatchClock(1.0, 3.0)) is None  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "blocks",
    [
        {"forecast": {}},
        {"run": {"name": "lift", "kind": "lift", "clip": "clip.mp4"}},
    ],
)
def test_what_is_not_covered_is_said(blocks: dict[str, Any]) -> None:
    with pytest.raises(CannotMeasure):
        predict_run(run_of(sheet(**blocks)), STARTS)


def test_a_machine_that_drives_down_a_ridge_pulls_harder_by_its_weight_along_it() -> None:
    # A sled on the level part, a puller on a ramp that falls towards its home: at the same speed, the same drive.
    content = sheet(
        run={"name": "sled", "kind": "sled", "clip": "clip.mp4"},
        rope={"length_m": 1.035, "ends": ["heron", "sled"]},
        machine={
            "heron": machine("-x"),
            "sled": {"home": "+x", "mass_kg": 3.0, "hitch": {"at_m": [-0.132, 0, 0.052]}, "size_m": [0.26, 0.2, 0.07]},
        },
        forecast={"heron": drive(), "sled": {"grip_sliding": 0.25}},
        clock={"start_s": 1.0, "duration_s": 1.5},
    )
    level = predict_run(run_of(content), STARTS, samples=1)[0]
    down = content | {
        "table": {"length_m": 2.2, "width_m": 1.1, "profile_m": [[-1.1, -0.11], [0.1, 0.01], [1.1, 0.01]]}
    }
    helped = predict_run(run_of(down), STARTS, samples=1)[0]
    assert helped.tension_N[-1] == pytest.approx(
        level.tension_N[-1], rel=0.03
    )  # the rope rises to the sled and presses it a little
    slope = np.sin(np.arctan(0.1))
    beyond_N = [run.machines["heron"].traction_N[-1] - run.tension_N[-1] for run in (level, helped)]
    assert beyond_N[0] - beyond_N[1] == pytest.approx(2.5 * 9.80665 * slope, rel=0.05)
    assert helped.machines["heron"].speed_m_s[-1] > level.machines["heron"].speed_m_s[-1]


def arm_sheet(**told: Any) -> dict[str, Any]:
    content = sheet(forecast={"heron": drive(**told), "plover": drive(0.0042)})
    content["machine"]["heron"] = machine("-x", reach={"stroke_m": 0.3, "mass_kg": 0.3})
    return content


def test_an_arm_needs_its_time_and_less_weight_than_its_machine() -> None:
    with pytest.raises(CannotMeasure) as caught:
        predict_run(run_of(arm_sheet()), STARTS, samples=1)
    assert "[forecast.heron] reach_s" in caught.value.do
    heavy = arm_sheet(reach_s=0.5)
    heavy["machine"]["heron"]["reach"]["mass_kg"] = 2.5
    with pytest.raises(CannotMeasure, match="the whole machine only"):
        predict_run(run_of(heavy), STARTS, samples=1)
    without = sheet(forecast={"heron": drive(reach_s=0.5), "plover": drive(0.0042)})
    with pytest.raises(CannotMeasure) as caught:
        predict_run(run_of(without), STARTS, samples=1)
    assert "[machine.heron.reach] stroke_m" in caught.value.do


def test_an_arm_that_carries_the_hitch_slackens_the_rope() -> None:
    content = arm_sheet(reach_s=0.5)
    content["machine"]["heron"]["hitch"] = {"at_m": [-0.145, 0.0, 0.052], "on": "reach"}
    without = predict_run(run_of(sheet()), STARTS, samples=1)[0]
    out = predict_run(run_of(content), STARTS, samples=1)[0]
    early = (out.t_s > 0.3) & (out.t_s < 0.5)
    assert without.tension_N[early].min() > 5
    assert out.tension_N[early].max() == 0
    assert out.tension_N[-1] > 5


def test_rope_wound_in_is_counted_where_it_is_wound() -> None:
    slow = drive(throttle=[[0.0, 0.0]], brake_N=200.0, grip_static=2.0)
    still = sheet(forecast={"heron": slow, "plover": slow | {"winding": [[0.0, 0.0], [2.0, 0.2]]}})
    forecast = predict_run(run_of(still), STARTS, samples=1)[0]
    wound = forecast.machines["plover"]
    assert forecast.winner == "plover"
    # What is wound in is pulled over from the other side: both machines are drawn together, or its grip gives way.
    assert forecast.on_plus_x_m[-1] > 1.09 / 2 + 0.05
    assert wound.x_m[-1] <= 0.685 + 1e-6


def test_a_hitch_lets_go_when_it_is_said_to() -> None:
    released = predict_run(
        run_of(sheet(forecast={"heron": drive(release_s=1.5), "plover": drive(0.0042)})), STARTS, samples=1
    )[0]
    assert released.tension_N[released.t_s > 1.52].max() == 0
    assert released.tension_N[(released.t_s > 0.5) & (released.t_s < 1.5)].min() > 5


def test_measured_drive_stands_in_for_a_missing_forecast() -> None:
    content = sheet(forecast={"heron": drive()})
    content["machine"]["plover"] = machine("+x", 3.1, drive=drive(0.0042))
    forecast, note = predict_run(run_of(content), STARTS, samples=16)
    assert forecast.winner == "plover"
    assert "[machine.plover.drive]" in note.sentence


def test_measured_drive_goes_by_the_plan_that_the_forecast_states() -> None:
    """A forecast that says no more than how it will be driven, and a chance: what it can do was measured."""
    content = sheet(forecast={"heron": drive(), "plover": {"win_chance": 0.6, "throttle": [[0.0, 0.0], [9.0, 0.0]]}})
    content["machine"]["plover"] = machine("+x", 3.1, drive=drive(0.0042))
    forecast, note = predict_run(run_of(content), STARTS, samples=16)
    assert forecast.winner == "heron"
    assert "[machine.plover.drive]" in note.sentence


def test_load_run_has_no_winner() -> None:
    content = sheet(
        run={"name": "sled", "kind": "sled", "clip": "clip.mp4"},
        rope={"length_m": 1.035, "ends": ["heron", "sled"]},
        machine={
            "heron": machine("-x"),
            "sled": {"home": "+x", "mass_kg": 3.0, "hitch": {"at_m": [-0.132, 0, 0.035]}, "size_m": [0.26, 0.2, 0.07]},
        },
        forecast={"heron": drive(), "sled": {"grip_sliding": {"value": 0.25, "u": 0.01}}},
    )
    hang = HangTest(np.array([0.0, 1.0, 2.0]), 0.06 + 9.80665 / 480 * np.array([0.0, 1.0, 2.0]), ("", "", ""))
    forecast, _ = predict_run(run_of(content, hang_test=hang), STARTS, samples=32)
    assert forecast.winner == ""
    assert forecast.win_chance == {}
    assert np.isnan(forecast.margin_m)
    # The pull on a sled that slides evenly is its friction, and its uncertainty that of the friction.
    assert forecast.tension_N[-1] == pytest.approx(0.25 * 3.0 * 9.80665, rel=0.02)
    assert forecast.u_tension_N[-1] == pytest.approx(0.01 * 3.0 * 9.80665, rel=0.15)


def test_sides_of_their_own_turn_the_machine() -> None:
    uneven = drive(left={"motors": 1, "stall_torque_Nm": 0.0036}, right={"motors": 2})
    content = sheet(forecast={"heron": uneven, "plover": drive(0.0042)})
    even = predict_run(run_of(sheet()), STARTS, samples=4)[0].machines["heron"]
    turned = predict_run(run_of(content), STARTS, samples=4)[0].machines["heron"]
    assert np.abs(turned.heading_deg - even.heading_deg).max() > 0.2


def test_table_from_any_tool() -> None:
    t_s = np.array([0.0, 3.0])
    curve = ForecastCurve(
        {"t_s": t_s, "position_m": np.array([0.0, 0.2]), "u_position_m": np.array([0.0, 0.1]), "tension_N": t_s * 5}
    )
    forecast, note = predict_run(run_of(sheet(), curves={"plover": curve}), STARTS)
    plover = forecast.machines["plover"]
    assert plover.x_m[-1] == pytest.approx(0.885)
    assert plover.u_x_m[-1] == pytest.approx(0.1)
    assert forecast.tension_N[50] == pytest.approx(5.0)
    assert forecast.winner == "plover"
    assert forecast.win_chance["plover"] == pytest.approx(0.974, abs=0.005)  # 0.195 m ahead, u 0.1 m
    assert note.status == "partly"
    assert any("heron has no forecast table" in text for text in forecast.left_out)
    # Seven tenths of 1.09 m are 0.218 m beyond half: 0.23 of u more than plover has, and 4.1 of u more than heron has.
    rules = {"share_to_win": 0.7}
    higher, _ = predict_run(run_of(sheet(rules=rules), curves={"plover": curve}), STARTS)
    assert higher.win_chance == pytest.approx({"plover": 0.409, "heron": 0.0}, abs=0.005)


@pytest.mark.parametrize(
    ("position_m", "u_m", "said"),
    [
        (0.2, 0.0, "plover is expected to win with a chance of over 99 %, by 195 mm."),
        (0.2, 0.1, "plover is expected to win with a chance of 97 %, by 200 ± 200 mm."),
        (0.015, 0.36, "Neither is expected to win: the chances are plover 51 %, heron 49 %; plover would be ahead by "),
    ],
)
def test_no_winner_is_told_as_certain_and_none_of_an_even_match(position_m: float, u_m: float, said: str) -> None:
    t_s = np.array([0.0, 3.0])
    columns = {"t_s": t_s, "position_m": t_s * position_m / 3, "u_position_m": np.array([0.0, u_m])}
    forecast, note = predict_run(run_of(sheet(), curves={"plover": ForecastCurve(columns)}), STARTS)
    assert said in tell_forecast(forecast, note, ())


def test_a_mark_that_came_past_first_and_lies_short_at_the_end_has_won() -> None:
    """The first passing decides; the margin is where the mark lies at the end."""
    columns = {"t_s": np.array([0.0, 3.0]), "position_m": np.array([0.0, 0.2])}
    forecast, note = predict_run(run_of(sheet(), curves={"plover": ForecastCurve(columns)}), STARTS)
    passed = replace(forecast, win_chance={"plover": 1.0, "heron": 0.0}, margin_m=-0.05, u_margin_m=0.002)
    told = tell_forecast(passed, note, ())
    said = "plover is expected to win with a chance of over 99 %; its mark lies 50.0 ± 3.9 mm short of it at the end."
    assert said in told


def test_neither_is_expected_where_samples_leave_it_open() -> None:
    alike = {"heron": drive(), "plover": drive()}
    content = sheet(machine={"heron": machine("-x"), "plover": machine("+x")}, forecast=alike)
    forecast, note = predict_run(run_of(content), STARTS, samples=16)
    told = tell_forecast(forecast, note, (), chance_interval(forecast.win_chance[forecast.winner], 16))
    assert "Neither is expected to win: the chances are" in told
    assert "from the 16 samples alone" in told
    assert told.count("half of the 95 % interval") == 1


def test_rules_decide() -> None:
    share = RunSheet.model_validate(sheet(rules={"share_to_win": 0.6}))
    decision = decide(share, np.array([0.5, 0.8]), np.array([1.0, 1.0]))
    assert decision is not None
    assert decision.winner == "+x"
    assert decision.plus_margin_m == pytest.approx(0.2)
    assert decision.minus_margin_m == pytest.approx(-0.4)
    between = decide(share, np.array([0.5, 0.55]), np.array([1.0, 1.0]))
    assert between is not None
    assert between.winner is None
    # Where less than half wins both sides may hold more, and the larger share wins.
    less = decide(RunSheet.model_validate(sheet(rules={"share_to_win": 0.4})), np.array([0.45]), np.array([1.0]))
    assert less is not None
    assert less.winner == "-x"
    rope = {
        "length_m": 1.0,
        "ends": ["heron", "plover"],
        "beads": [{"name": "middle", "at_m": 0.5, "colour": "red"}],
    }
    rules = {"decide": "mark-past-line", "mark": "middle", "line_m": 0.1}
    line = RunSheet.model_validate(sheet(rope=rope, rules=rules))
    decision = decide(line, np.array([0.5, 0.35, 0.75]), np.ones(3))
    assert decision is not None
    assert decision.winner == "-x"  # the mark passed the line on the −x side first
    short = decide(line, np.array([0.5, 0.42, 0.59]), np.ones(3))
    assert short is not None
    assert short.winner is None
    assert decide(RunSheet.model_validate(sheet(rules=rules)), np.array([0.5]), np.ones(1)) is None


def test_where_most_of_the_rope_wins_nobody_may() -> None:
    """The same samples by another share to win: who is ahead stays, most of the chance goes to nobody."""
    (half, _), (most, note) = (
        predict_run(run_of(sheet(rules={"share_to_win": share})), STARTS, samples=16) for share in (0.5, 0.97)
    )
    assert most.winner == half.winner == "plover"
    assert sum(half.win_chance.values()) == pytest.approx(1.0)
    assert sum(most.win_chance.values()) < 0.5
    assert most.margin_m < 0 < half.margin_m
    assert "Nobody is expected to win by the rules, with a chance of" in tell_forecast(most, note, ())
