"""An arm's stroke from the marker that rides on it, and the rope that is hitched to it."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene
from matchvision.filming.parts import Anchor, Arm
from matchvision.filming.scene import Disc
from matchvision.motion import measure_motion
from tests.filmed_points import film_points

ARM = Arm(stroke_m=0.15, mass_kg=0.3, at_s=0.5, lasts_s=0.4)


def scene_with_arm() -> Scene:
    scene = demo_scene(1)
    wheeled = scene.machine["plover"]
    base = replace(
        wheeled, drive=None, wheel=(), forecast=None, anchor=Anchor(holding_N=30.0), arm=ARM,
        marker=(*wheeled.marker, Disc("arm", "green", 0.012, (-0.15, 0.0, 0.1), "reach")),
    )  # fmt: skip
    clock = replace(scene.clock, duration_s=3.0)
    return replace(scene, clock=clock, machine={**scene.machine, "plover": base})


def test_filmed_arm_goes_out_as_it_did() -> None:
    filmed = film_points(scene_with_arm(), np.random.default_rng(1))
    motion, note = measure_motion(filmed.run, filmed.tracks, filmed.cameras)
    (arm,) = motion.arms
    error = arm.reach_m - filmed.truth["plover_reach"].to_numpy()
    assert arm.machine == "plover"
    assert float(np.sqrt(np.mean(error**2))) < 0.0005
    assert float(np.nanmax(arm.speed_m_s)) == pytest.approx(ARM.top_m_s, rel=0.08)
    assert float(np.sqrt(np.mean((error / arm.u_reach_m) ** 2))) < 1.6
    assert "the arm of plover" in note.sentence


def test_rope_on_the_arm_keeps_its_share() -> None:
    filmed = film_points(scene_with_arm(), np.random.default_rng(2))
    rope = measure_motion(filmed.run, filmed.tracks, filmed.cameras)[0].rope
    assert rope is not None
    error = rope.on_plus_x_m - filmed.truth["rope_plus_x_m"].to_numpy()
    assert np.isfinite(error).all()
    assert float(np.sqrt(np.mean(error**2))) < 0.001
    assert np.mean(rope.slack == 1 - filmed.truth["rope_taut"].to_numpy()) > 0.97
