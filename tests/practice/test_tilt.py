"""A camera that stands still sees how far the table was raised, by the pose of the table in its pictures."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.spatial.transform import Rotation

from matchvision.errors import CannotMeasure
from matchvision.filming import run_sheet
from matchvision.geometry.camera import project_points
from matchvision.motion import measure_motion
from matchvision.practice import measure_practice
from matchvision.records.camera import Cameras
from matchvision.records.motion import MatchClock
from matchvision.records.sheet import Run, RunSheet
from matchvision.records.tracks import Tracks
from tests.engine.playing import over_time
from tests.filmed_points import FilmedPoints, film_points
from tests.practice.runs import PracticeCase, measure_points, play_case, practice_case

FloatArray = npt.NDArray[np.float64]

HINGE_M = np.array([-1.1, 0.0, 0.0])
NOISE_PX = 0.17


def watch_raised(case: PracticeCase, points: FilmedPoints, generator: np.random.Generator) -> tuple[Tracks, Cameras]:
    """The markers as a camera in the room sees them while the table's +x end is raised about its -x edge."""
    tracks, still = points.tracks, points.cameras.parameters[0]
    t_s = tracks.clip_s - case.scene.clock.start_s
    tilt = np.deg2rad(over_time(case.extras.tilt_deg, 0.0, t_s) - over_time(case.extras.tilt_deg, 0.0, t_s)[0])
    # The engine's table begins tilted; here it is first level and then raised by as much in the second before.
    tilt += np.deg2rad(case.extras.tilt_deg[0][1]) * np.clip((t_s + 0.5) / 0.4, 0, 1)
    first = Rotation.from_rotvec(still[9:12])
    raised = Rotation.from_rotvec(np.outer(-tilt, [0.0, 1.0, 0.0]))
    parameters = np.tile(still, (len(t_s), 1))
    parameters[:, 9:12] = (first * raised).as_rotvec()
    parameters[:, 12:15] = first.apply(HINGE_M - raised.apply(HINGE_M)) + still[12:15]
    names = [plan.name.replace(".", "_") for plan in tracks.plans]
    places = np.stack([points.truth[[f"{name}_{axis}" for axis in "xyz"]].to_numpy() for name in names], axis=1)
    seen = project_points(parameters[:, None], places)
    seen = np.where(np.isfinite(tracks.col_px)[..., None], seen, np.nan)
    seen = seen + NOISE_PX * generator.standard_normal(seen.shape)
    cameras = replace(
        points.cameras,
        moves=True,
        frame=tracks.frame,
        parameters=parameters,
        covariance=np.tile(points.cameras.covariance[0], (len(t_s), 1, 1)),
        supported=np.ones(len(t_s), dtype=np.bool_),
    )
    return replace(tracks, col_px=seen[..., 0], row_px=seen[..., 1]), cameras


def told(case: PracticeCase, practice: str) -> Run:
    sheet = run_sheet(replace(case.told, practice=None)).replace("moves = false", "moves = true")
    return Run(sheet=RunSheet.model_validate(tomllib.loads(sheet + practice)), folder=Path())


@pytest.mark.slow
def test_grip_comes_from_the_tilt_that_is_seen() -> None:
    case = practice_case("slope", 5)
    case = replace(case, scene=replace(case.scene, clock=replace(case.scene.clock, duration_s=1.8, start_s=1.0)))
    run = play_case(case)
    generator = np.random.default_rng(3)
    tracks, cameras = watch_raised(case, film_points(case.scene, generator, course=run.course), generator)
    clock = MatchClock(1.0, 1.8)
    sheet = told(case, "[practice]\nlevel_s = 0.2\nhigh_end = '+x'\n")
    motion, _ = measure_motion(sheet, tracks, cameras)
    result, _ = measure_practice(sheet, motion, cameras, clock, None, None)
    measured = {parameter.key[-1]: parameter for parameter in result.parameters}
    for key, true in case.truth(run).items():
        assert abs(measured[key].value - true) <= 1.53 * measured[key].u95, (key, true, measured[key])
        assert measured[key].u95 < 0.05
    wrong = told(case, "[practice]\nlevel_s = 0.2\nhigh_end = '-x'\n")
    with pytest.raises(CannotMeasure, match="the sheet says was the high end"):
        measure_practice(wrong, motion, cameras, clock, None, None)
    with pytest.raises(CannotMeasure, match="tilt is not known") as lacks:
        measure_practice(told(case, ""), motion, cameras, clock, None, None)
    assert "tilt_deg" in str(lacks.value)
    let_go = told(case, f"[practice]\ntilt_deg = {math.degrees(math.atan(0.6))}\nlet_go = true\n")
    result, _ = measure_practice(let_go, motion, cameras, clock, None, None)
    assert [parameter.key[-1] for parameter in result.parameters] == ["grip_sliding"]


@pytest.mark.slow
def test_a_fixed_slope_tells_sliding_grip_alone() -> None:
    case = practice_case("slope", 2)
    steep = math.tan(math.atan(case.scene.machine["heron"].grip_ratio) + math.radians(2))
    table = replace(case.scene.table, profile_m=((-1.2, -1.2 * steep), (1.2, 1.2 * steep)))
    camera = replace(case.scene.camera, position_m=(0.1, -2.2, 1.9))
    clock = replace(case.scene.clock, duration_s=1.0)
    scene, told = (
        replace(one, table=table, camera=camera, clock=clock, practice=None) for one in (case.scene, case.told)
    )
    case = replace(case, scene=scene, told=told, extras=replace(case.extras, tilt_deg=()))
    run = play_case(case)
    result = measure_points(case, run, 2)
    (sliding,) = result.parameters
    assert sliding.key[-1] == "grip_sliding"
    assert abs(sliding.value - case.truth(run)["grip_sliding"]) <= 1.53 * sliding.u95
    assert "grip at rest" in result.missing[0]
