"""The engine's courses obey mechanics that are written down here, and agree with filming's own where both must."""

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene, play
from tests.engine.extras import Contact, Extras, SideLoss
from tests.engine.playing import EngineRun, play_in_engine
from tests.filmed_points import film_points

GRAVITY_M_S2 = 9.81


def short_scene(seed: int = 3, duration_s: float = 3.2) -> Scene:
    scene = demo_scene(seed)
    return replace(scene, clock=replace(scene.clock, duration_s=duration_s, after_s=0.1))


@pytest.fixture(scope="module")
def match() -> tuple[Scene, EngineRun]:
    """Plover (the lighter) begins to slip 2.8 s after the start."""
    scene = short_scene()
    return scene, play_in_engine(scene)


def test_momentum_closes(match: tuple[Scene, EngineRun]) -> None:
    scene, run = match
    course = run.course
    for name, machine in scene.machine.items():
        state = course.machines[name]
        into_home_N = machine.mass_kg * np.gradient(state.speed_m_s, course.clip_s)
        sum_N = state.traction_N - course.tension_N
        steady = (course.clip_s > 1.2) & (course.clip_s < scene.end_s)
        assert np.sqrt(np.mean((into_home_N - sum_N)[steady] ** 2)) < 0.06
        assert state.normal_N[steady].mean() == pytest.approx(machine.mass_kg * GRAVITY_M_S2, rel=0.004)


def test_a_sliding_machine_has_its_grip_and_no_more(match: tuple[Scene, EngineRun]) -> None:
    scene, run = match
    truth, course = run.machines["plover"], run.course
    slides = (truth.left.slip_m_s > 0.05) & (course.clip_s < scene.end_s)
    assert slides.sum() > 100
    ratio = (truth.left.traction_N + truth.right.traction_N) / (truth.left.load_N + truth.right.load_N)
    assert np.abs(ratio[slides] / scene.machine["plover"].grip_ratio - 1).max() < 0.005


def test_filming_agrees_while_wheels_grip(match: tuple[Scene, EngineRun]) -> None:
    scene, run = match
    own = play(scene).at(run.course.clip_s)
    grips = run.course.clip_s < 2.8
    apart_N = (run.course.tension_N - own.tension_N)[grips]
    assert np.sqrt(np.mean(apart_N**2)) < 0.01 * own.tension_N.max()
    for name in scene.machine:
        assert np.abs(run.course.machines[name].x_m - own.machines[name].x_m)[grips].max() < 0.001


@pytest.mark.slow
@pytest.mark.parametrize(
    "contact",
    [
        Contact(solref_s=0.02, solimp=(0.2, 0.9, 0.0005), impratio=20.0),
        Contact(solref_s=0.01, solimp=(0.1, 0.95, 0.0004), impratio=100.0, step_s=0.00025),
    ],
    ids=["softer", "stiffer"],
)
def test_other_contact_settings_move_little(match: tuple[Scene, EngineRun], contact: Contact) -> None:
    scene, run = match
    other = play_in_engine(scene, Extras(contact=contact))
    apart_N = other.course.tension_N - run.course.tension_N
    assert np.sqrt(np.mean(apart_N**2)) < 0.005 * run.course.tension_N.max()
    for name in scene.machine:
        assert np.abs(other.course.machines[name].x_m - run.course.machines[name].x_m).max() < 0.002


@pytest.mark.parametrize(("side", "sign"), [("left", 1), ("right", -1)])
def test_the_machine_turns_towards_the_side_whose_drive_is_lost(side: Literal["left", "right"], sign: int) -> None:
    scene = short_scene(duration_s=3.0)
    full = ((0.0, 0.0), (0.2, 1.0))
    extra = Extras(side_share={"plover": (full, full)}, side_loss={"plover": SideLoss(side, 1.0)})
    state = play_in_engine(scene, extra).course.machines["plover"]
    turned_rad = state.heading_rad[-1] - state.heading_rad[0]
    assert sign * turned_rad > np.deg2rad(4)
    marked_is_right = scene.machine["plover"].wheel[0].face_m[1] < 0
    lost_is_marked = marked_is_right == (side == "right")
    assert (state.other_side_rad[-1] > 1) if lost_is_marked else (state.other_side_rad[-1] < -1)


def test_points_follow_the_engine() -> None:
    scene = short_scene(duration_s=1.5)
    run = play_in_engine(scene)
    points = film_points(scene, np.random.default_rng(1), course=run.course)
    now = run.course.at(points.truth["pts_s"].to_numpy())
    for name, machine in scene.machine.items():
        assert np.abs(points.truth[f"{name}_pos_x"] - now.machines[name].x_m).max() < 1e-9
        length_m = machine.marker[0].at_m[0] - machine.marker[1].at_m[0]
        ends = [points.truth[[f"{name}_{end}_{axis}" for axis in "xyz"]].to_numpy() for end in ("front", "rear")]
        assert np.abs(np.linalg.norm(ends[0] - ends[1], axis=1) - length_m).max() < 1e-9
    law = points.run.hang_test
    assert law is not None
    assert scene.rope.link is not None
    slope_N_per_m = np.polyfit(law.length_m, law.mass_kg * GRAVITY_M_S2, 1)[0]
    assert slope_N_per_m == pytest.approx(scene.rope.link.stiffness_N_per_m, rel=0.05)
