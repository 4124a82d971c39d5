"""Scenes as points: where the camera would see the markers of an invented run, with white noise and no picture."""

import io
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from matchvision.filming import (
    Course,
    Scene,
    frame_times,
    hang_test,
    place_everything,
    play,
    project,
    run_sheet,
    truth_table,
)
from matchvision.markers import plan_markers
from matchvision.records.camera import Cameras
from matchvision.records.sheet import HangTest, Run, RunSheet
from matchvision.records.tracks import Tracks, TrackState
from tests.truth import calibration_covariance


@dataclass(frozen=True, eq=False)
class FilmedPoints:
    """A scene's run sheet, noisy tracks, true cameras with a plausible covariance, and truth, a row a frame."""

    run: Run
    tracks: Tracks
    cameras: Cameras
    truth: pd.DataFrame
    end_s: float


def film_points(
    scene: Scene, generator: np.random.Generator, noise_px: float = 0.17, course: Course | None = None
) -> FilmedPoints:
    """What the motion stage would be given of a scene if markers and table were found without fault.

    ``course``: what happens, where filming is not to integrate it itself.
    """
    course = course or play(scene)
    places = place_everything(scene, course, frame_times(scene))
    truth = truth_table(scene, course, places, project(scene, course, places))
    run = run_of(scene)
    plans = plan_markers(run)
    names = [plan.name.replace(".", "_") for plan in plans]
    seen = np.stack([truth[f"{name}_vis"].to_numpy() == 1 for name in names], axis=1)
    col, row = (np.stack([truth[f"{name}_{axis}"].to_numpy() for name in names], axis=1) for axis in "uv")
    col, row = (np.where(seen, v + noise_px * generator.standard_normal(v.shape), np.nan) for v in (col, row))
    u = np.where(seen, noise_px, np.nan)
    state = np.where(seen, TrackState.SEEN, TrackState.LOST).astype(np.int8)
    frame = np.arange(len(truth), dtype=np.int64)
    tracks = Tracks(plans, frame, truth["pts_s"].to_numpy(), col, row, u, u.copy(), state)
    poses = truth[["cam_rx", "cam_ry", "cam_rz", "cam_tx", "cam_ty", "cam_tz"]].to_numpy()
    camera = scene.camera
    centre = camera.centre_px or tuple((size - 1) / 2 for size in camera.size_px)
    lens = np.tile([*camera.f_px, *centre, *camera.distortion], (len(truth), 1))
    moves = camera.sway is not None
    parameters = np.concatenate([lens, poses], axis=1)[: len(truth) if moves else 1]
    covariance = np.broadcast_to(calibration_covariance(parameters[0], run), (len(parameters), 15, 15))
    cameras = Cameras(*camera.size_px, moves, frame[: len(parameters)], parameters, covariance, frame >= 0)
    return FilmedPoints(run, tracks, cameras, truth, scene.end_s)


def run_of(scene: Scene) -> Run:
    """The run as its sheet describes it, with its hang test."""
    sheet = RunSheet.model_validate(tomllib.loads(run_sheet(scene)))
    return Run(sheet=sheet, folder=Path(), hang_test=_hang_test(scene))


def _hang_test(scene: Scene) -> HangTest | None:
    """The scene's hang test as it would be read from its file."""
    if scene.rope.link is None:
        return None
    hung = pd.read_csv(io.StringIO(hang_test(scene.rope.link, scene.seed)))
    return HangTest(hung["mass_kg"].to_numpy(float), hung["length_m"].to_numpy(float), ("",) * len(hung))
