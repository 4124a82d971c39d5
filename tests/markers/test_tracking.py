"""Excerpts of the sample clips against their exact truth, with the true camera."""

from dataclasses import replace
from itertools import islice
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from matchvision.errors import MarkerError
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.tracks import Tracks, TrackState
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, read_truth_facts

FloatArray = npt.NDArray[np.float64]


def camera_of(folder: Path, row: pd.Series, off_px: tuple[float, float]) -> Camera:
    facts = read_truth_facts(folder)["camera"]
    matrix = facts["K"]
    pose = [float(row[f"cam_{k}"]) for k in ("rx", "ry", "rz", "tx", "ty", "tz")]
    lens = [matrix[0][0], matrix[1][1], matrix[0][2] + off_px[0], matrix[1][2] + off_px[1]]
    parameters = np.array([*lens, *facts["dist_k1_k2_p1_p2_k3"], *pose])
    return Camera(facts["width"], facts["height"], parameters, np.zeros((15, 15)))


def follow(name: str, first: int, count: int, off_px: tuple[float, float] = (0.0, 0.0)) -> tuple[Tracks, FloatArray]:
    """Tracks of an excerpt and the errors (n, m, 2) of their places [px]; NaN where the truth says hidden."""
    folder = SAMPLE_CLIPS / name
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    for frame in islice(read_frames(facts), first, first + count):
        tracker.see(frame, camera_of(folder, truth.iloc[frame.index], off_px))
    tracks, note = tracker.tracks()
    assert note.stage == "markers"
    assert f"{count} frames" in note.sentence
    error = np.full((count, len(tracks.plans), 2), np.nan)
    for i, plan in enumerate(tracks.plans):
        column = plan.name.replace(".", "_")
        rows = truth.iloc[first : first + count]
        visible = rows[f"{column}_vis"].to_numpy() > 0
        error[visible, i, 0] = (tracks.col_px[:, i] - rows[f"{column}_u"].to_numpy())[visible]
        error[visible, i, 1] = (tracks.row_px[:, i] - rows[f"{column}_v"].to_numpy())[visible]
    return tracks, error


@pytest.mark.parametrize(
    ("name", "first", "count", "share"),
    [
        ("flat-match", 0, 150, 0.99),  # the slack rope snaps taut within one frame
        ("sled-link", 40, 80, 0.99),
        ("hitch-slips", 60, 60, 0.99),  # the hitch lets go
        ("hand-held", 235, 70, 0.93),  # a hand crosses; look-alikes stand behind the table
    ],
)
def test_markers_are_seen_where_they_are_and_none_is_mistaken(name: str, first: int, count: int, share: float) -> None:
    tracks, error = follow(name, first, count, off_px=(2.0, -1.5))
    visible = np.isfinite(error[:, :, 0]) | (tracks.state == TrackState.LOST)
    seen = tracks.state == TrackState.SEEN
    distance = np.linalg.norm(error, axis=2)
    assert (seen & np.isfinite(distance)).sum() >= share * visible.sum()
    assert np.nanmax(np.where(seen, distance, np.nan)) < 3.0
    assert np.isnan(tracks.col_px[tracks.state == TrackState.LOST]).all()
    u = np.stack([tracks.u_col_px, tracks.u_row_px], axis=2)
    for kind in {p.kind for p in tracks.plans}:
        columns = [i for i, p in enumerate(tracks.plans) if p.kind == kind]
        kept = error[:, columns][seen[:, columns]]
        assert np.sqrt(np.nanmean(kept**2)) < 0.3
        assert 0.5 < np.sqrt(np.nanmean((kept / u[:, columns][seen[:, columns]]) ** 2)) < 2.0


def test_a_clip_without_markers_is_refused_with_the_colours_sought() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    grey = np.full((360, 640), 128, dtype=np.uint8)
    camera = camera_of(folder, truth.iloc[0], (0.0, 0.0))
    for k in range(3):
        tracker.see(Frame(k, k / 30, np.full((720, 1280), 120, dtype=np.uint8), grey, grey, (2, 2), (0.0, 0.5)), camera)
    with pytest.raises(MarkerError) as caught:
        tracker.tracks()
    assert "#d7231e" in caught.value.what
    assert "orange" in caught.value.what
    assert caught.value.do


def test_a_colour_that_nobody_wears_is_named_in_a_warning() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    plans = tuple(replace(p, colour="yellow") if p.name == "plover.wheel_1" else p for p in plan_markers(run))
    colours = {**run.sheet.colour, "yellow": type(run.sheet.colour["red"])(srgb="#f0cd14")}
    tracker = MarkerTracker(plans, run.sheet.model_copy(update={"colour": colours}), facts)
    for frame in islice(read_frames(facts), 40):
        tracker.see(frame, camera_of(folder, truth.iloc[frame.index], (0.0, 0.0)))
    tracks, note = tracker.tracks()
    assert np.all(tracks.state[:, list(tracks.names).index("plover.wheel_1")] == TrackState.LOST)
    assert any("plover.wheel_1 (yellow)" in w for w in note.warnings)
    assert note.status == "partly"


def test_names_shifted_along_the_rope_are_put_right_and_the_wrong_past_is_lost() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    for frame in islice(read_frames(facts), 90, 150):
        tracker.see(frame, camera_of(folder, truth.iloc[frame.index], (0.0, 0.0)))
        if frame.index == 100:
            # As if the first find had given every bead the name of the one two places further back.
            where = tracker._where
            where.last_m[:12] = where.last_m[2:14].copy()
            where.last_m[12:14], where.seen_s[12:14] = np.nan, -np.inf
    tracks, _ = tracker.tracks()
    error = np.hypot(
        tracks.col_px[:, :14] - truth.iloc[90:150][[f"bead_{k:02d}_u" for k in range(1, 15)]].to_numpy(),
        tracks.row_px[:, :14] - truth.iloc[90:150][[f"bead_{k:02d}_v" for k in range(1, 15)]].to_numpy(),
    )
    assert np.isnan(error[:10]).all()
    assert np.nanmax(error) < 3.0
    assert np.isfinite(error[-10:]).all()
