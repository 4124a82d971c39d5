"""Anchors, arms and walls do what their sheet says."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import Scene, demo_scene, play, run_sheet
from matchvision.filming.parts import Anchor, Arm, Wall
from matchvision.filming.places import machine_points
from matchvision.filming.scene import Disc
from matchvision.filming.truth import events

SCENE = demo_scene(1)


def anchored(anchor: Anchor, arm: Arm | None = None) -> Scene:
    base = replace(
        SCENE.machine["plover"], drive=None, wheel=(), forecast=None, anchor=anchor, arm=arm, grip_ratio=0.3,
        marker=() if arm is None else (Disc("arm", "green", 0.012, (-0.15, 0.0, 0.1), "reach"),),
    )  # fmt: skip
    return replace(SCENE, machine={**SCENE.machine, "plover": base})


def test_arm_goes_its_stroke_and_its_speed_is_its_slope() -> None:
    arm = Arm(stroke_m=0.2, mass_kg=0.3, at_s=0.5, lasts_s=0.3, stop_s=0.05)
    t_s = np.linspace(0.4, 0.9, 50001)
    out = arm.out_m(t_s)
    assert out[0] == 0
    assert out[-1] == pytest.approx(0.2)
    speed = np.gradient(out, t_s)
    assert speed.max() == pytest.approx(arm.top_m_s, rel=1e-3)
    accel = np.gradient(speed, t_s)
    inside = (t_s > 0.82) & (t_s < 0.79 + 0.05)
    assert arm.accel_m_s2(0.77) == pytest.approx(float(accel[np.searchsorted(t_s, 0.77)]), rel=1e-2)
    assert np.abs(accel[inside]).max() < 1e-6


def test_anchor_holds_creeps_and_lets_go_when_its_hold_has_leaked_away() -> None:
    scene = anchored(Anchor(holding_N=18.0, leak_N_per_s=1.0, creeps_at_ratio=0.8, creep_m_s=0.02))
    course = play(scene)
    state = course.machines["plover"]
    match_s = course.clip_s - scene.clock.start_s
    hold = 18.0 - np.maximum(match_s, 0.0)
    let_go_s = events(scene, course)["break_away_s"]["plover"]
    before = course.clip_s < let_go_s - 0.05
    assert np.all(course.tension_N[before] <= 1.002 * hold[before])
    assert np.all(np.abs(state.speed_m_s[before & (course.tension_N < 0.79 * hold)]) == 0)
    creeping = before & (course.tension_N > 0.85 * hold)
    assert creeping.any()
    assert np.all(np.abs(state.speed_m_s[creeping]) > 0.004)


def test_arm_kicks_its_base_back() -> None:
    """Momentum: a free base of mass M under an arm of mass m at speed v recoils with m v / M."""
    arm = Arm(stroke_m=0.15, mass_kg=0.3, at_s=0.02, lasts_s=0.3)
    scene = anchored(Anchor(holding_N=0.01), arm)
    base = replace(scene.machine["plover"], grip_ratio=0.0)
    course = play(replace(scene, machine={**scene.machine, "plover": base}))
    at = int(np.searchsorted(course.clip_s, scene.clock.start_s + 0.2))
    assert course.machines["plover"].speed_m_s[at] == pytest.approx(0.3 * arm.top_m_s / base.mass_kg, rel=0.02)


def test_wall_stops_the_machine_that_runs_into_it() -> None:
    machine = SCENE.machine["heron"]
    wall = Wall(owner="plover", at_m=(-0.80, machine.y_m), size_m=(0.04, 0.3, 0.08))
    scene = replace(SCENE, wall=(wall,))
    course = play(scene)
    state = course.machines["heron"]
    nose = state.x_m + machine.size_m[0] / 2 * np.cos(state.heading_rad)
    assert nose.min() > -0.80 + 0.02 - 0.003
    ((begin, _), *_) = events(scene, course)["contact_s"]["heron"]
    assert begin > scene.clock.start_s
    assert "[machine.plover.blocker]" in run_sheet(scene)


def test_lifted_nose_leaves_the_rear_wheels_on_the_table() -> None:
    """The rear wheels stay on the table; the front ones rise by the wheelbase times the sine."""
    heron = replace(SCENE.machine["heron"], lift=((0.5, 0.0), (1.0, 12.0), (1.5, -5.0), (1.7, -5.0)))
    scene = replace(SCENE, machine={**SCENE.machine, "heron": heron})
    course = play(scene)
    state = course.machines["heron"]
    half = heron.wheelbase_m / 2
    ends = machine_points(np.array([[half, 0.0, 0.0], [-half, 0.0, 0.0]]), state)
    for match_s, lift_deg in ((0.2, 0.0), (0.75, 6.0), (1.0, 12.0), (1.6, -5.0), (1.8, 0.0)):
        k = int(np.searchsorted(course.clip_s, scene.clock.start_s + match_s))
        front, rear = ends[k, :, 2]
        stands, up = (rear, front) if lift_deg >= 0 else (front, rear)
        assert stands == pytest.approx(0.0, abs=1e-6)
        # The heading is a few degrees off the pull, and the lift is given in its plane.
        assert up == pytest.approx(2 * half * np.sin(np.deg2rad(abs(lift_deg))), abs=0.0006)
