"""Wheels that spin fast, from filmed pictures: the rate is the true one up to 0.4 turns a frame, whatever the marks."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene, film
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.motion import measure_motion
from tests.markers.test_tracking import camera_of
from tests.truth import read_run, read_truth, true_cameras

FRAMES_PER_S = 60.0


def spinning(turns_a_frame: float, marks: int) -> Scene:
    """Heron spins its wheels on a slippery table, seen by a camera that shows no more than heron."""
    scene = demo_scene(3)
    heron, plover = scene.machine["heron"], scene.machine["plover"]
    assert heron.drive is not None
    assert plover.drive is not None
    drive = replace(
        heron.drive,
        no_load_rev_min=1.03 * turns_a_frame * FRAMES_PER_S * 60 * heron.drive.gear_ratio,
        stall_torque_Nm=2.5 * heron.drive.stall_torque_Nm,
        throttle=((0.0, 0.0), (0.15, 1.0), (0.6, 1.0)),
        throttle_acts_on="voltage",
        drive_friction_Nm=0.02,
        wheel_inertia_kg_m2=0.0015,
    )
    wheel = replace(heron.wheel[0], rim=heron.wheel[0].rim[:marks])
    resting = replace(plover, drive=replace(plover.drive, throttle=((0.0, 0.0), (0.6, 0.02))), grip_ratio=0.8)
    return replace(
        scene,
        clock=replace(scene.clock, start_s=0.15, duration_s=0.5, after_s=0.0),
        machine={"heron": replace(heron, drive=drive, grip_ratio=0.12, wheel=(wheel,)), "plover": resting},
        camera=replace(
            scene.camera,
            size_px=(360, 240),
            centre_px=(180.0, 120.0),
            look_at_m=(-0.67, -0.05, 0.05),
            exposure_s=0.001,
            bitrate=1_500_000,
        ),
        thing=(),
    )


@pytest.mark.slow
@pytest.mark.parametrize("marks", [1, 2])
def test_fast_wheel_is_not_folded(tmp_path: Path, marks: int) -> None:
    film(spinning(0.4, marks), tmp_path)
    run, truth = read_run(tmp_path), read_truth(tmp_path)
    tracker = MarkerTracker(plan_markers(run), run.sheet, read_facts(run.clip))
    for frame in read_frames(read_facts(run.clip)):
        tracker.see(frame, camera_of(tmp_path, truth.iloc[frame.index], (1.0, -1.0)))
    motion, _ = measure_motion(run, tracker.tracks()[0], true_cameras(tmp_path, run))
    wheel = next(w for w in motion.wheels if w.machine == "heron")
    rate = truth["heron_wheel_w"].to_numpy()
    assert rate.max() > 0.385 * 2 * np.pi * FRAMES_PER_S
    error = wheel.rate_rad_s - rate
    assert np.isfinite(error).all()
    # 2 % of the greatest rate, in every frame; a folded one would be wrong by 250 %.
    assert np.abs(error).max() < 0.02 * rate.max()
