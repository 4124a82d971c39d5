"""Sample clips' exact truth as the records that stages take: for tests of one stage without the stages before it."""

import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from matchvision.geometry.camera import PARAMETER_STEPS, project_points
from matchvision.markers import plan_markers
from matchvision.records.camera import Cameras
from matchvision.records.sheet import HangTest, Run, RunSheet
from matchvision.records.tracks import Tracks, TrackState

FloatArray = npt.NDArray[np.float64]

SAMPLE_CLIPS = Path(__file__).resolve().parents[1] / "sample_clips"


def read_run(folder: Path) -> Run:
    """The run sheet of a sample clip, read without the sheets layer."""
    text = (folder / "run.toml").read_text()
    sheet = RunSheet.model_validate(tomllib.loads(text))
    sheet = sheet.model_copy(update={"run": sheet.run.model_copy(update={"clip": folder / sheet.run.clip})})
    hang_test = None
    if sheet.rope is not None and sheet.rope.link is not None:
        hung = pd.read_csv(folder / sheet.rope.link.hang_test)
        loading = tuple(hung["loading"]) if "loading" in hung else ("",) * len(hung)
        hang_test = HangTest(hung["mass_kg"].to_numpy(float), hung["length_m"].to_numpy(float), loading)
    return Run(sheet=sheet, folder=folder, hang_test=hang_test)


def read_truth(folder: Path) -> pd.DataFrame:
    """The truth of every frame, a row a frame."""
    return pd.read_csv(folder / "truth.csv")


def read_truth_facts(folder: Path) -> dict[str, Any]:
    """What holds for the whole clip: camera, events, verdict."""
    facts: dict[str, Any] = json.loads((folder / "truth.json").read_text())
    return facts


def true_tracks(folder: Path, run: Run, generator: np.random.Generator, noise_px: float = 0.15) -> Tracks:
    """Where the markers' pictures truly are, with white noise; hidden markers are lost."""
    truth = read_truth(folder)
    plans = plan_markers(run)
    columns = [plan.name.replace(".", "_") for plan in plans]
    col, row = (np.stack([truth[f"{c}_{axis}"].to_numpy(float) for c in columns], axis=1) for axis in "uv")
    seen = np.stack([truth[f"{c}_vis"].to_numpy(float) for c in columns], axis=1) == 1
    col = np.where(seen, col + noise_px * generator.standard_normal(col.shape), np.nan)
    row = np.where(seen, row + noise_px * generator.standard_normal(row.shape), np.nan)
    u = np.where(seen, noise_px, np.nan)
    state = np.where(seen, TrackState.SEEN, TrackState.LOST).astype(np.int8)
    return Tracks(
        plans=plans,
        frame=np.arange(len(truth), dtype=np.int64),
        clip_s=truth["pts_s"].to_numpy(float),
        col_px=col,
        row_px=row,
        u_col_px=u,
        u_row_px=u.copy(),
        state=state,
    )


def calibration_covariance(parameters: FloatArray, run: Run, u_px: float = 0.1) -> FloatArray:
    """Covariance (15, 15) of a camera fitted to the tags' corners, each known to ``u_px``.

    Priors: principal point 13 px, focal lengths 30 px, k1 0.1, k2 0.1, p1 and p2 0.002, k3 held.
    """
    corners = []
    for tag in run.sheet.table.tag:
        half = tag.side_m / 2
        corners += [(tag.centre_m[0] + dx * half, tag.centre_m[1] + dy * half, 0.0) for dx in (-1, 1) for dy in (-1, 1)]
    points = np.array(corners)
    jacobian = np.stack(
        [
            (project_points(parameters + step, points) - project_points(parameters - step, points)).ravel()
            / (2 * np.abs(step).max())
            for step in np.diag(PARAMETER_STEPS)
        ],
        axis=1,
    )
    prior = np.array([30.0, 30.0, 13.0, 13.0, 0.1, 0.1, 0.002, 0.002, 1.0, 1e3, 1e3, 1e3, 1e3, 1e3, 1e3])
    free = np.arange(15) != 8
    information = jacobian.T @ jacobian / u_px**2 + np.diag(prior**-2.0)
    covariance = np.zeros((15, 15))
    covariance[np.ix_(free, free)] = np.linalg.inv(information[np.ix_(free, free)])
    return covariance


def true_cameras(folder: Path, run: Run, u_px: float = 0.1) -> Cameras:
    """The camera that filmed, one for all frames or one for each, with the covariance of a plausible calibration."""
    facts = read_truth_facts(folder)
    camera = facts["camera"]
    matrix = camera["K"]
    lens = [matrix[0][0], matrix[1][1], matrix[0][2], matrix[1][2], *camera["dist_k1_k2_p1_p2_k3"]]
    if camera["moves"]:
        poses = read_truth(folder)[["cam_rx", "cam_ry", "cam_rz", "cam_tx", "cam_ty", "cam_tz"]].to_numpy(float)
    else:
        poses = np.array([[*camera["rvec"], *camera["t_table_to_camera"]]])
    parameters = np.hstack([np.tile(lens, (len(poses), 1)), poses])
    covariance = calibration_covariance(parameters[0], run, u_px)
    return Cameras(
        width_px=camera["width"],
        height_px=camera["height"],
        moves=bool(camera["moves"]),
        frame=np.arange(len(poses), dtype=np.int64),
        parameters=parameters,
        covariance=np.broadcast_to(covariance, (len(poses), 15, 15)).copy(),
        supported=np.ones(len(poses), dtype=np.bool_),
    )
