"""Who is who on a filmed clip made hard: beads of one colour, equal wheels, a hand over the rope and look-alikes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene, film
from matchvision.filming.equipment import Hand
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.records.tracks import TrackState
from tests.markers.test_tracking import camera_of
from tests.truth import read_run, read_truth

pytest.importorskip("motmetrics", reason="identity is scored by motmetrics")
from benchmarks.identity import clear_mot


def hard_scene() -> Scene:
    """All beads red, both wheels marked green and magenta, and a hand that sweeps along the rope while it moves."""
    scene = demo_scene(11)
    heron, plover = scene.machine["heron"], scene.machine["plover"]
    wheel = heron.wheel[0]
    rim = tuple(replace(m, colour=c) for m, c in zip(wheel.rim, ("green", "magenta"), strict=True))
    hand = Hand(from_s=0.3, until_s=1.05, from_x_m=-0.25, to_x_m=0.2)
    return replace(
        scene,
        clock=replace(scene.clock, start_s=0.2, duration_s=1.1, after_s=0.0),
        camera=replace(scene.camera, frames_per_s=30.0),
        rope=replace(scene.rope, bead_colours=("red",), link=None),
        machine={"heron": replace(heron, wheel=(replace(wheel, rim=rim),)), "plover": plover},
        hand=(hand,),
    )


@pytest.mark.slow
def test_no_swap_where_everything_looks_alike(tmp_path: Path) -> None:
    film(hard_scene(), tmp_path)
    run, truth = read_run(tmp_path), read_truth(tmp_path)
    facts = read_facts(run.clip)
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts)
    for frame in read_frames(facts):
        tracker.see(frame, camera_of(tmp_path, truth.iloc[frame.index], (1.0, -1.0)))
    tracks, _ = tracker.tracks()
    stems = [name.replace(".", "_") for name in tracks.names]
    true_px = np.stack([truth[[f"{s}_u", f"{s}_v"]].to_numpy() for s in stems], axis=1)
    visible = np.stack([truth[f"{s}_vis"].to_numpy() > 0 for s in stems], axis=1)
    beads = [i for i, p in enumerate(tracks.plans) if p.kind == "bead"]
    # The hand does hide beads, and they come back.
    assert (~visible[:, beads]).any(axis=0).sum() >= 4
    said = tracks.state == TrackState.SEEN
    scores = {
        s.name: s.value for s in clear_mot(np.stack([tracks.col_px, tracks.row_px], axis=2), said, true_px, visible)
    }
    assert scores["identity swaps"] == 0
    assert scores["identity wrong names"] == 0
    assert scores["identity MOTA"] >= 0.95
    assert said[-1].all()
