"""The rope from its two ends alone, set by hand in a few frames: place, share and their uncertainty."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import project_points
from matchvision.motion import measure_motion
from matchvision.records.camera import Cameras
from matchvision.records.motion import Motion
from matchvision.records.sheet import ClockSheet, Machine, RopeSheet, Run, RunInfo, RunSheet, TableSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

FloatArray = npt.NDArray[np.float64]

FRAMES, LENGTH_M, HEIGHT_M = 90, 0.9, 0.05
CAMERA = np.array([900.0, 900.0, 640.0, 360.0, 0, 0, 0, 0, 0, 2.2, 0.0, 0.0, 0.0, 0.0, 2.0])


def hand_set(
    rows: list[int], *, moved_m: float = 0.2, slack_m: float = 0.0, u_px: float = 0.7, u_height_m: float = 0.003
) -> Motion:
    """A rope that moves by ``moved_m`` along x while its ends are set in some frames."""
    time_s = np.arange(FRAMES) / 30.0
    middle = moved_m * time_s / time_s[-1]
    half = (LENGTH_M - slack_m) / 2
    columns = []
    for side in (-1, 1):
        points = np.stack([middle + side * half, np.zeros(FRAMES), np.full(FRAMES, HEIGHT_M)], axis=-1)
        columns.append(project_points(CAMERA, points))
    known = np.zeros((FRAMES, 2), dtype=bool)
    known[rows] = True
    pixels = np.where(known[..., None], np.stack(columns, axis=1), np.nan)
    u = np.where(known, u_px, np.nan)
    plans = tuple(
        MarkerPlan(f"rope_end_{n}", "end", "", 0.0, at_m=(0.0, 0.0, HEIGHT_M), arc_m=arc, u_height_m=u_height_m)
        for n, arc in (("heron", 0.0), ("plover", LENGTH_M))
    )
    state = np.where(known, TrackState.SET, TrackState.LOST).astype(np.int8)
    tracks = Tracks(plans, np.arange(FRAMES), time_s, pixels[..., 0], pixels[..., 1], u, u, state)
    sheet = RunSheet(
        run=RunInfo(name="hand", clip=Path("clip.mp4")),
        clock=ClockSheet(start_s=0.0, duration_s=3.0),
        table=TableSheet(length_m=2.0, width_m=1.0),
        rope=RopeSheet(length_m=LENGTH_M, ends=("heron", "plover")),
        machine={"heron": Machine(home="-x"), "plover": Machine(home="+x")},
    )
    cameras = Cameras(
        1280, 720, False, np.zeros(1, dtype=np.int64), CAMERA[None], 1e-12 * np.eye(15)[None], np.ones(1, dtype=bool)
    )
    return measure_motion(Run(sheet, Path()), tracks, cameras)[0]


def share_m(motion: Motion) -> tuple[FloatArray, FloatArray]:
    assert motion.rope is not None
    return motion.rope.on_plus_x_m, motion.rope.u_on_plus_x_m


def test_share_at_the_frames_that_were_set_is_the_true_one() -> None:
    motion = hand_set([0, 30, 60, 89])
    plus, u = share_m(motion)
    for row in (0, 30, 60, 89):
        assert plus[row] == pytest.approx(0.45 + 0.2 * row / 89, abs=0.003)
        assert 0.0005 < u[row] < 0.004


def test_between_two_frames_the_uncertainty_grows() -> None:
    motion = hand_set([0, 89])
    _, u = share_m(motion)
    assert u[45] > 3 * u[0]
    assert np.all(np.diff(u[:40]) > 0)
    places = motion.places
    assert np.all(places.u_x_m[45] > 3 * places.u_x_m[0])
    words = [TrackState(s).word for s in motion.tracks.state[[0, 45, 89], 0]]
    assert words == ["set", "bridged", "set"]


def test_before_the_first_and_after_the_last_frame_nothing_is_said() -> None:
    motion = hand_set([20, 50, 70])
    plus, _ = share_m(motion)
    assert np.isnan(plus[:20]).all()
    assert np.isnan(plus[71:]).all()
    assert np.isfinite(plus[20:71]).all()
    assert (motion.tracks.state[:20] == TrackState.LOST).all()


def test_a_rope_that_sags_is_as_unsure_as_what_cannot_be_seen_of_it() -> None:
    taut, slack = (share_m(hand_set([0, 45, 89], slack_m=s))[1][45] for s in (0.0, 0.06))
    assert slack == pytest.approx(0.06 / np.sqrt(12), rel=0.1)
    assert slack > 3 * taut


def test_a_height_that_nobody_knows_costs_certainty() -> None:
    known, unknown = (share_m(hand_set([0, 45, 89], u_height_m=u))[1][45] for u in (0.003, 0.029))
    assert unknown > 1.5 * known


def test_surer_clicks_make_a_surer_share() -> None:
    steady, shaky = (share_m(hand_set([0, 45, 89], u_px=u))[1][45] for u in (0.5, 4.0))
    assert shaky > 2 * steady


def test_a_rope_that_is_longer_than_the_sheet_says_is_taken_as_it_is_seen() -> None:
    motion = hand_set([0, 45, 89], slack_m=-0.05)
    assert motion.rope is not None
    assert motion.rope.total_m[45] == pytest.approx(0.95, abs=0.005)
    assert motion.rope.on_plus_x_m[45] == pytest.approx(0.475 + 0.1, abs=0.005)
