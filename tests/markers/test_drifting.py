"""Light that changes in the course of a clip: colours are followed, and nothing takes them along."""

from dataclasses import replace
from itertools import islice

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.markers.centres import Centres
from matchvision.markers.drifting import Drift
from matchvision.records.frames import Frame
from matchvision.records.tracks import MarkerPlan, TrackState
from tests.markers.test_tracking import camera_of
from tests.truth import SAMPLE_CLIPS, read_run, read_truth

FloatArray = npt.NDArray[np.float64]

#: What red and blue gain beside green while daylight of 6500 K gives way to a halogen lamp of 3200 K and the white
#: balance stays: Planck's law at 610, 465 and 550 nm gives 1.491 and 0.473, to the power 1 / 2.2 in coded values.
WARMER = (1.20, 0.71)


def warm(frame: Frame, share: float) -> Frame:
    """The picture under a lamp that has turned warmer by a share of the way, in a BT.709 clip of limited range."""
    red_gain, blue_gain = (1 + share * (gain - 1) for gain in WARMER)
    rows, cols = frame.blue.shape
    coarse = frame.luma[: 2 * rows, : 2 * cols].reshape(rows, 2, cols, 2).mean(axis=(1, 3))
    light = (coarse - 16) / 219
    blue_off, red_off = (np.asarray(plane, dtype=np.float64) - 128 for plane in (frame.blue, frame.red))
    red = np.clip(light + 2 * (1 - 0.2126) * red_off / 224, 0, None) * red_gain
    blue = np.clip(light + 2 * (1 - 0.0722) * blue_off / 224, 0, None) * blue_gain
    green = (light - 0.2126 * red / red_gain - 0.0722 * blue / blue_gain) / 0.7152
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    # Luma keeps its detail; its level follows the coarse one.
    fine = np.kron(219 * (luma - light), np.ones((2, 2)))
    planes = (
        frame.luma[: 2 * rows, : 2 * cols] + fine,
        128 + 224 * (blue - luma) / (2 * (1 - 0.0722)),
        128 + 224 * (red - luma) / (2 * (1 - 0.2126)),
    )
    turned = [np.clip(np.rint(plane), 0, 255).astype(np.uint8) for plane in planes]
    return replace(frame, luma=turned[0], blue=turned[1], red=turned[2])


@pytest.mark.slow
def test_a_lamp_that_turns_warmer_loses_no_marker() -> None:
    folder, count = SAMPLE_CLIPS / "sled-link", 100
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    for k, frame in enumerate(islice(read_frames(facts), count)):
        tracker.see(warm(frame, k / count), camera_of(folder, truth.iloc[frame.index], (1.0, -1.0)))
    tracks, _ = tracker.tracks()
    for i, plan in enumerate(tracks.plans):
        stem = plan.name.replace(".", "_")
        rows = truth.iloc[:count]
        visible = rows[f"{stem}_vis"].to_numpy() > 0
        assert (tracks.state[visible, i] == TrackState.SEEN).all(), plan.name
        off_px = np.hypot(tracks.col_px[:, i] - rows[f"{stem}_u"], tracks.row_px[:, i] - rows[f"{stem}_v"])
        assert off_px[visible].max() < 3.0, plan.name
    # Grey has turned warm, and so the clip's own neutral was followed.
    assert tracker._looks.neutral[0] < 115


def looked(contrast: float, across: float) -> Centres:
    flat = np.zeros(1)
    return Centres(np.zeros((1, 2)), np.ones((1, 2)), flat + contrast, flat + 0.05, flat + 0.9, flat + across)


def angle_deg(chroma: FloatArray) -> float:
    return float(np.rad2deg(np.arctan2(chroma[0, 1], chroma[0, 0])))


def test_a_hue_is_followed_as_far_as_a_lamp_can_turn_it() -> None:
    drift, chroma = Drift([MarkerPlan("a", "bead", "red", 0.01)]), np.array([[60.0, 0.0]])
    drift.start(chroma, [0])
    # The marker lies 10° on: across is the sine of what is left of it.
    for _ in range(600):
        left_rad = np.deg2rad(10 - angle_deg(chroma))
        chroma = drift.follow(chroma, looked(1.0, -np.sin(left_rad)), np.array([True]), 1 / 60)
    assert angle_deg(chroma) == pytest.approx(10, abs=0.2)
    for _ in range(3000):
        chroma = drift.follow(chroma, looked(1.0, -0.5), np.array([True]), 1 / 60)
    assert angle_deg(chroma) == pytest.approx(25)


def test_a_hand_and_a_neighbour_do_not_take_a_colour_along() -> None:
    plans = [MarkerPlan("a", "bead", "red", 0.01), MarkerPlan("b", "bead", "orange", 0.01)]
    start = np.array([[60.0, 0.0], [60 * np.cos(0.5), 60 * np.sin(0.5)]])
    drift = Drift(plans)
    drift.start(start, [0, 1])
    two = Centres(
        np.zeros((2, 2)), np.ones((2, 2)), np.array([0.6, 1.0]), np.full(2, 0.05), np.ones(2), np.array([-0.5, 0.5])
    )
    # A hand's colour shows where only a part of the marker does: no look at its hue.
    after = drift.follow(start, two, np.array([True, False]), 1.0)
    assert angle_deg(after) == 0
    # A second's mistake turns a hue by a few degrees; for ever, it stays on its side of the border.
    two = replace(two, contrast=np.ones(2))
    after = start
    for _ in range(60):
        after = drift.follow(after, two, np.array([True, False]), 1 / 60)
    assert 0 < angle_deg(after) < 5
    for _ in range(3000):
        after = drift.follow(after, two, np.array([True, False]), 1 / 60)
    assert angle_deg(after) == pytest.approx(np.rad2deg(0.25))
