"""What pulled a machine round."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene
from matchvision.grip.turning import add_lateral_pull, lateral_arm
from matchvision.motion import measure_motion
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import RunSheet
from tests.filmed_points import FilmedPoints, film_points


def turned_run() -> tuple[FilmedPoints, Motion]:
    """Heron's hitch sits 30 mm to the left, and heron turns."""
    scene = demo_scene(4)
    heron = scene.machine["heron"]
    assert heron.drive is not None
    drive = replace(heron.drive, loss_s=0.6, loss_ratio=0.9, loss_turn_deg_per_m=500.0)
    heron = replace(heron, drive=drive, hitch_m=(-0.145, 0.03, 0.052))
    clock = replace(scene.clock, duration_s=2.0, after_s=0.0)
    points = film_points(
        replace(scene, clock=clock, machine={**scene.machine, "heron": heron}), np.random.default_rng(3)
    )
    return points, measure_motion(points.run, points.tracks, points.cameras)[0]


@pytest.fixture(scope="module")
def turned() -> tuple[FilmedPoints, Motion]:
    return turned_run()


def true_arm_m(points: FilmedPoints) -> np.ndarray:
    truth = points.truth
    hitch, other = (truth[[f"{n}_hitch_x", f"{n}_hitch_y"]].to_numpy() for n in ("heron", "plover"))
    away = hitch - truth[["heron_pos_x", "heron_pos_y"]].to_numpy()
    along = (other - hitch) / np.linalg.norm(other - hitch, axis=1, keepdims=True)
    return np.asarray(away[:, 0] * along[:, 1] - away[:, 1] * along[:, 0])


def test_arm_is_that_of_the_run(turned: tuple[FilmedPoints, Motion]) -> None:
    points, motion = turned
    arm_m, u_m = lateral_arm(points.run.sheet, motion, "heron")
    taut = points.truth["rope_taut"].to_numpy() == 1
    true_m = true_arm_m(points)
    assert taut.mean() > 0.5
    error = (arm_m - true_m)[taut]
    assert np.abs(error).max() < 0.003
    assert np.sqrt(np.mean((error / u_m[taut]) ** 2)) < 1.0
    # The hitch to the left, pulled backwards, turns the machine to the left, until it lies behind it.
    assert true_m[taut].max() > 0.02
    assert true_m[taut].min() < 0.01


def test_a_turn_says_what_pulled(turned: tuple[FilmedPoints, Motion]) -> None:
    points, motion = turned
    clock = MatchClock(points.run.sheet.clock.start_s or 0.0, 2.0)
    event = Event("turned", "heron", 0.7, float("nan"), 0.01, 1.0, "It turned.")
    n = len(motion.real_s)
    pull = PullSource("fused", np.full(n, 10.0), np.full(n, 0.3), np.zeros(n), True, ())
    said = add_lateral_pull(event, points.run.sheet, motion, pull, clock).evidence
    assert said.startswith("It turned. The rope's pull passed its centre of mass at an arm of ")
    assert "with 10.0" in said
    assert "Nm to the left." in said
    without = add_lateral_pull(event, points.run.sheet, motion, None, clock).evidence
    assert without.endswith("which turns it to the left.")


def test_nothing_is_said_without_a_rope(turned: tuple[FilmedPoints, Motion]) -> None:
    points, motion = turned
    sheet: RunSheet = points.run.sheet.model_copy(update={"rope": None})
    event = Event("turned", "heron", 1.2, float("nan"), 0.01, 1.0, "It turned.")
    clock = MatchClock(0.8, 2.0)
    assert add_lateral_pull(event, sheet, replace(motion, rope=None), None, clock) == event
