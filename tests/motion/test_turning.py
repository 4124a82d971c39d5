"""Machines that are pulled round: by how much, over seeds, with a camera that is off within its own uncertainty."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.filming import Scene, demo_scene
from matchvision.motion import measure_motion
from matchvision.records.camera import Cameras
from tests.filmed_points import film_points

FloatArray = npt.NDArray[np.float64]

SEEDS = range(8)


def turning_scene(seed: int) -> Scene:
    """One machine loses a side's drive and turns, by up to half a turn, left or right, as it goes or is dragged."""
    draw = np.random.default_rng([seed, 5])
    scene = demo_scene(seed)
    name = ("heron", "plover")[int(draw.integers(2))]
    machine = scene.machine[name]
    assert machine.drive is not None
    per_m = float(draw.uniform(400, 1200)) * (1 if draw.random() < 0.5 else -1)
    drive = replace(machine.drive, loss_s=0.6, loss_ratio=0.7, loss_turn_deg_per_m=round(per_m, 1))
    clock = replace(scene.clock, duration_s=2.0, after_s=0.0)
    return replace(scene, clock=clock, machine={**scene.machine, name: replace(machine, drive=drive)})


def off_by_a_draw(cameras: Cameras, generator: np.random.Generator) -> Cameras:
    root = np.linalg.cholesky(cameras.covariance[0] + 1e-24 * np.eye(15))
    return replace(cameras, parameters=cameras.parameters + root @ generator.standard_normal(15))


@pytest.mark.slow
def test_turns_are_found_to_a_degree() -> None:
    turned = 0
    ratios: list[float] = []
    for seed in SEEDS:
        generator = np.random.default_rng(seed)
        points = film_points(turning_scene(seed), generator)
        motion, _ = measure_motion(points.run, points.tracks, off_by_a_draw(points.cameras, generator))
        for name, moved in motion.machines.items():
            true_deg = points.truth[f"{name}_heading_deg"].to_numpy()
            true_deg = true_deg - true_deg[0]
            found_deg = moved.heading_deg - np.median(moved.heading_deg[:20])
            turned += bool(np.abs(true_deg).max() >= 10.0)
            assert np.abs(found_deg - true_deg).max() < 1.0
            ratios += ((found_deg - true_deg) / moved.u_heading_deg)[20::15].tolist()
    assert turned >= 5
    # The camera's error is common to a run and falls out of the difference, so that the stated u is an upper bound.
    assert np.sqrt(np.mean(np.square(ratios))) < 1.3
