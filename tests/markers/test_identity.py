"""Who is who over whole sample clips, scored as multi-object tracking is: CLEAR MOT by the library `motmetrics`."""

from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.records.tracks import Tracks, TrackState
from tests.markers.test_tracking import camera_of
from tests.truth import SAMPLE_CLIPS, read_run, read_truth

pytest.importorskip("motmetrics", reason="identity is scored by motmetrics")
from benchmarks.identity import clear_mot


def follow_whole(folder: Path) -> Tracks:
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    for frame in read_frames(facts):
        tracker.see(frame, camera_of(folder, truth.iloc[frame.index], (1.0, -1.0)))
    return tracker.tracks()[0]


@pytest.mark.parametrize(
    ("name", "least"), [("flat-match", 0.99), ("sled-link", 0.99), ("hitch-slips", 0.99), ("hand-held", 0.95)]
)
def test_no_marker_takes_anothers_name(name: str, least: float) -> None:
    """Every truly visible marker counts in every frame: a lost one is a miss, a place where none is a false sight."""
    folder = SAMPLE_CLIPS / name
    tracks, truth = follow_whole(folder), read_truth(folder)
    stems = [p.replace(".", "_") for p in tracks.names]
    true_px = np.stack([truth[[f"{s}_u", f"{s}_v"]].to_numpy() for s in stems], axis=1)
    visible = np.stack([truth[f"{s}_vis"].to_numpy() > 0 for s in stems], axis=1)
    places = np.stack([tracks.col_px, tracks.row_px], axis=2)
    said = tracks.state == TrackState.SEEN
    scores = {score.name: score.value for score in clear_mot(places, said, true_px, visible)}
    assert scores["identity swaps"] == 0
    assert scores["identity MOTA"] >= least
    assert scores["identity wrong names"] == 0
