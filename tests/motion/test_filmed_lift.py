"""A machine whose front comes up, and one that is turned, from filmed pictures."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene, film
from matchvision.filming.scene import Disc
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.motion import measure_motion
from matchvision.records.motion import Motion
from tests.markers.test_tracking import camera_of
from tests.truth import read_run, read_truth, true_cameras


def near_heron(scene: Scene) -> Scene:
    """The scene for a second and a half, seen by a camera that shows no more than heron."""
    camera = replace(
        scene.camera, size_px=(400, 260), centre_px=(200.0, 130.0), look_at_m=(-0.68, -0.02, 0.05), bitrate=1_500_000
    )
    return replace(scene, clock=replace(scene.clock, start_s=0.3, duration_s=1.3, after_s=0.0), camera=camera, thing=())


def measure(scene: Scene, folder: Path) -> Motion:
    film(scene, folder)
    run, truth = read_run(folder), read_truth(folder)
    tracker = MarkerTracker(plan_markers(run), run.sheet, read_facts(run.clip))
    for frame in read_frames(read_facts(run.clip)):
        tracker.see(frame, camera_of(folder, truth.iloc[frame.index], (1.0, -1.0)))
    return measure_motion(run, tracker.tracks()[0], true_cameras(folder, run))[0]


@pytest.mark.slow
def test_filmed_lift(tmp_path: Path) -> None:
    scene = demo_scene(0)
    heron = scene.machine["heron"]
    side = Disc(name="side", colour="cyan", radius_m=0.014, at_m=(0.0, -0.085, 0.12))
    heron = replace(heron, marker=(*heron.marker, side), lift=((0.4, 0.0), (0.6, 10.0), (0.9, 10.0), (1.1, 0.0)))
    moved = measure(near_heron(replace(scene, machine={**scene.machine, "heron": heron})), tmp_path).machines["heron"]
    truth = read_truth(tmp_path)
    pitch_deg = truth["heron_pitch_deg"].to_numpy()
    assert np.abs(moved.pitch_deg - pitch_deg).max() < 0.8
    assert np.sqrt(np.mean((moved.pitch_deg - pitch_deg) ** 2)) < 0.25
    turn_rad = np.deg2rad(moved.heading_deg - truth["heron_heading_deg"].to_numpy())
    assert np.abs(np.degrees(np.angle(np.exp(1j * turn_rad)))).max() < 0.5
    place = np.hypot(moved.x_m - truth["heron_pos_x"].to_numpy(), moved.y_m - truth["heron_pos_y"].to_numpy())
    assert place.max() < 0.004


@pytest.mark.slow
def test_filmed_turn(tmp_path: Path) -> None:
    """One side's drive is lost and the machine turns as it goes: by how much is found to 1°."""
    scene = demo_scene(0)
    heron = scene.machine["heron"]
    assert heron.drive is not None
    drive = replace(
        heron.drive,
        throttle=((0.0, 0.0), (0.1, 1.0), (1.3, 1.0)),
        loss_s=0.3,
        loss_ratio=0.9,
        loss_turn_deg_per_m=400.0,
    )
    turning = {**scene.machine, "heron": replace(heron, drive=drive)}
    moved = measure(near_heron(replace(scene, machine=turning)), tmp_path).machines["heron"]
    truth_deg = read_truth(tmp_path)["heron_heading_deg"].to_numpy()
    turned_deg = truth_deg - truth_deg[0]
    assert np.abs(turned_deg).max() > 10.0
    found_deg = moved.heading_deg - np.median(moved.heading_deg[:15])
    assert np.abs(found_deg - turned_deg).max() < 1.0
    assert np.abs(moved.pitch_deg).max() < 1.5
