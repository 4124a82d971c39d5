"""What is not known of the readout is in the uncertainty of what moves, and of nothing else."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene
from matchvision.motion import measure_motion
from matchvision.motion.shutter import allow_for_readout
from matchvision.records.footage import RowTiming
from tests.filmed_points import film_points


@pytest.mark.slow
def test_unknown_readout_is_in_the_uncertainty() -> None:
    """Filmed with 16 ms, measured as if at once: the error stays inside what is stated, which it otherwise does not."""
    scene = demo_scene(3)
    camera = replace(scene.camera, readout_s=0.016)
    scene = replace(scene, clock=replace(scene.clock, duration_s=3.5), camera=camera)
    points = film_points(scene, np.random.default_rng(8), noise_px=0.02)
    size = points.cameras.width_px, points.cameras.height_px
    rows = RowTiming(0.0, 1 / 60 / np.sqrt(3), reason="nobody knows")
    plain, _ = measure_motion(points.run, points.tracks, points.cameras)
    wide = allow_for_readout(plain, rows, *size)
    known, _ = measure_motion(points.run, points.tracks, points.cameras, 1.0, RowTiming(0.016, 0.0, source="given"))
    name = "plover"
    for i, plan in enumerate(points.tracks.plans):
        if plan.machine != name or plan.kind != "body":
            continue
        true_m = points.truth[f"{plan.name.replace('.', '_')}_x"].to_numpy()
        off_m = np.abs(plain.places.x_m[:, i] - true_m)
        late_m = np.abs(wide.places.x_m[:, i] - known.places.x_m[:, i])
        u_m = np.sqrt(wide.places.u_x_m[:, i] ** 2 - plain.places.u_x_m[:, i] ** 2)
        moving = np.isfinite(off_m) & (np.abs(plain.machines[name].speed_m_s) > 0.05)
        assert moving.sum() > 50
        # The shift by 16 ms lies within the rectangle of 16.7 ms, so at √3 u, nearly.
        assert np.median(late_m[moving] / u_m[moving]) == pytest.approx(np.sqrt(3) * 0.016 * 60, rel=0.15)
        standing = np.abs(plain.machines[name].speed_m_s) < 0.002
        assert np.nanmedian(u_m[standing]) < 0.05 * np.nanmedian(u_m[moving])
    u_m = np.sqrt(wide.machines[name].u_x_m ** 2 - plain.machines[name].u_x_m ** 2)
    late_m = np.abs(wide.machines[name].x_m - known.machines[name].x_m)
    moving = np.abs(plain.machines[name].speed_m_s) > 0.05
    assert np.median(late_m[moving] / u_m[moving]) == pytest.approx(np.sqrt(3) * 0.016 * 60, rel=0.25)
    assert allow_for_readout(plain, RowTiming(0.016, 0.0, source="given"), *size) is plain
