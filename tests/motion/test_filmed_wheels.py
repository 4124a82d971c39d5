"""Wheels that spin fast, from filmed pictures: the true rate is found up to 0.41 turns a frame, whatever the marks."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene, film
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.motion import measure_motion
from matchvision.records.sheet import Drive
from tests.filmed_points import film_points
from tests.markers.test_tracking import camera_of
from tests.truth import read_run, read_truth, true_cameras

FRAMES_PER_S = 60.0


def spinning(turns_a_frame: float, marks: int) -> Scene:
    """Heron spins its wheels on a slippery table, seen by a camera that shows no more than heron."""
    scene = demo_scene(3)
    heron, plover = scene.machine["heron"], scene.machine["plover"]
    assert heron.drive is not None
    assert plover.drive is not None
    # What drags on the wheels takes 6 % of the rate that they would have without it.
    drive = replace(
        heron.drive,
        no_load_rev_min=1.08 * turns_a_frame * FRAMES_PER_S * 60 * heron.drive.gear_ratio,
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
    rate = truth["heron_wheel_w"].to_numpy()
    assert rate.max() > 0.4 * 2 * np.pi * FRAMES_PER_S
    # Nothing stated of the drive: the wheel is seen to stand, and to spin up from there.
    machines = {**run.sheet.machine, "heron": run.sheet.machine["heron"].model_copy(update={"drive": None})}
    unstated = replace(run, sheet=run.sheet.model_copy(update={"machine": machines, "forecast": {}}))
    for each in (run, unstated):
        motion, _ = measure_motion(each, tracker.tracks()[0], true_cameras(tmp_path, run))
        wheel = next(w for w in motion.wheels if w.machine == "heron")
        error = wheel.rate_rad_s - rate
        assert np.isfinite(error).all()
        # 2 % of the greatest rate, in every frame; a folded one would be wrong by 250 %.
        assert np.abs(error).max() < 0.02 * rate.max()


def test_a_rate_that_nothing_decides_is_left_empty_with_the_reason() -> None:
    """The clip begins while the wheel spins at 0.4 turns a frame; its drive could as well do 0.6 backwards."""
    points = film_points(spinning(0.4, 2), np.random.default_rng(2))
    spun = points.truth["heron_wheel_w"].to_numpy() > 0.38 * 2 * np.pi * FRAMES_PER_S
    tracks = points.tracks
    late = replace(
        tracks,
        **{
            k: getattr(tracks, k)[spun]
            for k in ("frame", "clip_s", "col_px", "row_px", "u_col_px", "u_row_px", "state")
        },
    )
    assert len(late.frame) > 10
    sheet = points.run.sheet
    rev_min = 0.56 * FRAMES_PER_S * 60 * 100  # a quarter more is believed: 0.7 turns a frame
    drive = Drive.model_validate({"no_load_rev_min": rev_min, "gear_ratio": 100})
    machines = {**sheet.machine, "heron": sheet.machine["heron"].model_copy(update={"drive": drive})}
    unsure = replace(points.run, sheet=sheet.model_copy(update={"machine": machines, "forecast": {}}))
    motion, note = measure_motion(unsure, late, points.cameras)
    wheel = next(w for w in motion.wheels if w.machine == "heron")
    assert np.isnan(wheel.rate_rad_s).all()
    assert np.isnan(wheel.slip_speed_m_s).all()
    assert any("look alike at this frame rate" in warning for warning in note.warnings)
    assert any("no_load_rev_min" in advice for advice in note.advice)
    # A drive that cannot turn backwards so fast decides it.
    slower = Drive.model_validate({"no_load_rev_min": 0.42 * FRAMES_PER_S * 60 * 100, "gear_ratio": 100})
    machines = {**sheet.machine, "heron": sheet.machine["heron"].model_copy(update={"drive": slower})}
    sure = replace(points.run, sheet=sheet.model_copy(update={"machine": machines, "forecast": {}}))
    motion, _ = measure_motion(sure, late, points.cameras)
    rate = next(w for w in motion.wheels if w.machine == "heron").rate_rad_s
    assert np.abs(rate - points.truth["heron_wheel_w"].to_numpy()[spun]).max() < 0.03 * rate.max()
