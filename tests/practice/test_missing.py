"""A run whose facts lack gives what it can and says what to add; filming's own motion is good enough for that."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.filming import Course, Scene, play, run_sheet
from matchvision.filming.scene import Machine
from matchvision.practice.facts import drive_facts, machine_meant, share_of_drive
from matchvision.practice.tension import known_tension
from matchvision.records.motion import MatchClock
from matchvision.records.practice import PracticeResult
from matchvision.records.sheet import PracticeSheet, Run, RunSheet
from matchvision.records.tracks import Tracks, TrackState
from tests.engine.playing import EngineRun
from tests.filmed_points import FilmedPoints, film_points
from tests.made_motion import make_machine, make_motion, make_run, seconds
from tests.practice.runs import PracticeCase, measure_points, practice_case


def measured(case: PracticeCase, told: Scene) -> PracticeResult:
    clock = replace(case.scene.clock, duration_s=1.8)
    scene, told = (replace(one, clock=clock) for one in (case.scene, told))
    return measure_points(replace(case, scene=scene, told=told), EngineRun(play(scene), {}), 1)


def with_heron(scene: Scene, **changes: object) -> Scene:
    heron: Machine = replace(scene.machine["heron"], **changes)  # type: ignore[arg-type]
    return replace(scene, machine={**scene.machine, "heron": heron})


def test_without_drive_facts_a_free_run_gives_the_radius_alone() -> None:
    case = practice_case("free", 1)
    result = measured(case, with_heron(case.told, forecast=None))
    assert [parameter.key[-1] for parameter in result.parameters] == ["radius_m"]
    assert any("stall_torque_Nm" in text and "gear_ratio" in text for text in result.missing)


@pytest.mark.parametrize("lost_share", [0.5, 0.97])
def test_markers_that_are_often_hidden_give_less_or_nothing(lost_share: float, monkeypatch: pytest.MonkeyPatch) -> None:
    def film_with_holes(scene: Scene, generator: np.random.Generator, course: Course) -> FilmedPoints:
        points = film_points(scene, generator, course=course)
        t = points.tracks
        lost = generator.random(t.col_px.shape) < lost_share
        col, row, u_col, u_row = (np.where(lost, np.nan, s) for s in (t.col_px, t.row_px, t.u_col_px, t.u_row_px))
        state = np.where(lost, TrackState.LOST, t.state).astype(np.int8)
        return replace(points, tracks=Tracks(t.plans, t.frame, t.clip_s, col, row, u_col, u_row, state))

    monkeypatch.setattr("tests.practice.runs.film_points", film_with_holes)
    case = practice_case("free", 1)
    if lost_share > 0.9:
        with pytest.raises(CannotMeasure, match="free run gave no number"):
            measured(case, case.told)
        return
    radius = next(p for p in measured(case, case.told).parameters if p.key[-1] == "radius_m")
    assert radius.value == pytest.approx(0.045, abs=3 * radius.u95)


def test_without_a_link_the_sleds_friction_is_not_measured_by_itself() -> None:
    case = practice_case("sled", 1)
    case = replace(case, scene=replace(case.scene, rope=replace(case.scene.rope, link=None)))
    told = replace(case.told, rope=case.scene.rope)
    result = measured(case, told)
    assert [parameter.key[-1] for parameter in result.parameters] == ["drive_efficiency"]
    assert any("[rope.link]" in text for text in result.missing)


def test_without_link_and_friction_nothing_is_measured_and_the_way_out_is_said() -> None:
    case = practice_case("stall", 1)
    rope = replace(case.scene.rope, link=None)
    case = replace(case, scene=replace(case.scene, rope=rope))
    with pytest.raises(CannotMeasure, match="sprung link"):
        measured(case, replace(case.told, rope=rope))


def test_stall_torque_is_given_where_it_is_not_stated() -> None:
    case = practice_case("sled", 2)
    drive = case.scene.machine["heron"].drive
    forecast = case.told.machine["heron"].forecast
    assert drive is not None
    assert forecast is not None
    result = measured(case, with_heron(case.told, forecast=replace(forecast, stall_torque_Nm=None)))
    torque = next(parameter for parameter in result.parameters if parameter.key[-1] == "stall_torque_Nm")
    assert torque.unit == "Nm"
    assert abs(torque.value - drive.stall_torque_Nm) <= 1.53 * torque.u95


def test_of_two_machines_the_sheet_must_name_one() -> None:
    run, times = make_run(kind="stall"), seconds(1.0)
    motion = make_motion(times, machines=[make_machine(name, len(times)) for name in ("heron", "plover")])
    with pytest.raises(CannotMeasure, match="does not say which of its 2 machines") as lacks:
        machine_meant(run, motion)
    assert "[practice] machine" in str(lacks.value)
    named = run.sheet.model_copy(update={"practice": PracticeSheet(machine="plover")})
    assert machine_meant(replace(run, sheet=named), motion) == "plover"


def told_run(told: Scene) -> Run:
    return Run(sheet=RunSheet.model_validate(tomllib.loads(run_sheet(told))), folder=Path())


def test_a_hung_mass_that_nobody_weighed_is_asked_for() -> None:
    case = practice_case("lift", 1)
    run = told_run(case.told)
    weight = run.sheet.machine["weight"].model_copy(update={"mass_kg": None})
    sheet = run.sheet.model_copy(update={"machine": {**run.sheet.machine, "weight": weight}})
    with pytest.raises(CannotMeasure, match="mass of weight") as lacks:
        known_tension(replace(run, sheet=sheet), None)
    assert "[machine.weight] mass_kg" in str(lacks.value)
    with pytest.raises(CannotMeasure, match="how hard the rope was pulled"):
        known_tension(run, None)


def test_no_lever_at_its_stop_gives_more_than_all() -> None:
    """A planned full drive lies between 98 and 100 %; what is logged counts as it stands, a plan on the way to 5 %."""
    case = practice_case("free", 1)
    run, clock = told_run(case.told), MatchClock(0.0, 4.0)
    t_s = np.array([0.15, 2.0])
    facts = drive_facts(run, "heron").drive
    planned = share_of_drive(run, "heron", facts, clock, t_s)
    assert np.asarray(planned.value) == pytest.approx([0.5, 0.99])
    assert np.asarray(planned.u) == pytest.approx([0.05, 0.01 / 3**0.5])
    logged = replace(run, commands={"heron": np.array([[0.0, 1.0], [4.0, 1.0]])})
    assert np.asarray(share_of_drive(logged, "heron", facts, clock, t_s).value) == pytest.approx([1.0, 1.0])
