"""Rolling shutter: the time of a row, and markers brought back to the picture's time.

The two rows are a worked example that follows from rows being exposed at an even pace: 480 rows of 1080, with 20 ms
for all, are 8.889 ms, and at 0.5 m/s that is 4.44 mm. Over the 1079 gaps between 1080 rows it is 8.897 ms: the
tolerance of a tenth of a per cent covers the difference.
"""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene
from matchvision.motion import measure_motion
from matchvision.motion.shutter import bring_to_frame_time, row_delay_s
from tests.filmed_points import film_points


def test_two_rows() -> None:
    apart_s = float(row_delay_s(np.array(780.0), 1080, 0.020) - row_delay_s(np.array(300.0), 1080, 0.020))
    assert apart_s == pytest.approx(8.889e-3, rel=1e-3)
    assert 0.5 * apart_s == pytest.approx(4.44e-3, rel=2e-3)
    assert row_delay_s(np.array([0.0, 539.5, 1079.0]), 1080, 0.020) == pytest.approx([-0.010, 0.0, 0.010])


def exposed(
    velocity_px_s: tuple[float, float], accel_px_s2: float, times_s: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Where a marker is drawn (n, 1, 2), each row at its own time, and where it is at the frames' times."""

    def place(t: np.ndarray) -> np.ndarray:
        col = 200 + velocity_px_s[0] * t + 0.5 * accel_px_s2 * t**2
        return np.stack([col, 100 + velocity_px_s[1] * t], axis=-1)

    moments = times_s.copy()
    for _ in range(60):
        moments = times_s + (place(moments)[:, 1] / 719 - 0.5) * 0.016
    return place(moments)[:, None], place(times_s)[:, None]


@pytest.mark.parametrize("velocity", [(900.0, 0.0), (300.0, 400.0), (-500.0, 250.0)])
def test_falling_row_by_row(velocity: tuple[float, float]) -> None:
    times = np.arange(40) / 60.0
    drawn, true = exposed(velocity, 0.0, times)
    moved, u = bring_to_frame_time(drawn, np.full(drawn.shape, 0.1), times, 720, 0.016)
    assert np.abs(drawn - true).max() > 1.5
    assert np.abs(moved - true).max() < 1e-6
    # Five even frames: the slope's u is σ/(Δt √10), times up to 8 ms.
    assert u.max() < 0.1 * np.hypot(1, 0.008 * 60 / np.sqrt(2))
    assert (u >= 0.1).all()


def test_even_acceleration_is_followed_inside() -> None:
    times = np.arange(40) / 60.0
    drawn, true = exposed((200.0, 150.0), 2000.0, times)
    moved, _ = bring_to_frame_time(drawn, np.full(drawn.shape, 0.1), times, 720, 0.016)
    assert np.abs(moved - true)[2:-2].max() < 0.1 * np.abs(drawn - true)[2:-2].max()


def test_noise_is_as_stated() -> None:
    generator, times = np.random.default_rng(5), np.arange(4000) / 60.0
    still = np.full((4000, 1, 2), [300.0, 60.0])
    moved, u = bring_to_frame_time(
        still + 0.1 * generator.standard_normal(still.shape), np.full(still.shape, 0.1), times, 720, 0.030
    )
    assert np.std(moved - still) / np.sqrt(np.mean(u**2)) == pytest.approx(1.0, abs=0.03)
    assert np.median(u) > 0.102


def test_marker_alone_or_lost_stays() -> None:
    pixels = np.full((30, 1, 2), np.nan)
    pixels[10] = [300.0, 50.0]
    moved, u = bring_to_frame_time(pixels, np.where(np.isfinite(pixels), 0.1, np.nan), np.arange(30) / 60.0, 720, 0.016)
    assert moved[10, 0].tolist() == [300.0, 50.0]
    assert u[10, 0].tolist() == [0.1, 0.1]
    assert np.isnan(moved[[9, 11]]).all()


def test_filmed_with_a_slow_shutter() -> None:
    """Points of an invented match under a readout of 30 ms: with it in the sheet, places hold at the frames' times."""
    scene = demo_scene(3)
    scene = replace(scene, clock=replace(scene.clock, duration_s=5.0), camera=replace(scene.camera, readout_s=0.030))
    points = film_points(scene, np.random.default_rng(8), noise_px=0.02)
    moving = np.flatnonzero(np.abs(points.truth["plover_v_drive"].to_numpy()) > 0.05)
    assert len(moving) > 50
    worst = []
    for readout_s in (0.030, 0.0):
        camera = points.run.sheet.camera.model_copy(update={"readout_s": readout_s})
        run = replace(points.run, sheet=points.run.sheet.model_copy(update={"camera": camera}))
        motion, _ = measure_motion(run, points.tracks, points.cameras)
        off = []
        for i, plan in enumerate(points.tracks.plans):
            if plan.machine == "plover":
                x, y = (points.truth[f"{plan.name.replace('.', '_')}_{axis}"].to_numpy() for axis in "xy")
                off.append(np.hypot(motion.places.x_m[:, i] - x, motion.places.y_m[:, i] - y)[moving])
        worst.append(max(float(np.sqrt(np.nanmean(o**2))) for o in off))
    assert worst[0] < 0.0002
    assert worst[1] > 2 * worst[0]
