"""The computed match against closed forms, and its energy balance (derived here)."""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson

from matchvision.mechanics.grip import Driven, grip_limited_pull_N
from matchvision.mechanics.machine import MachineModel, MatchModel, MeasuredEnd, Pose, SideDrive
from matchvision.mechanics.match import play_match
from matchvision.mechanics.rope import RopeModel

RADIUS_M: Final = 0.045
G: Final = 9.80665


def puller(name: str = "heron", **changes: object) -> MachineModel:
    """A machine of 2.5 kg; total stall torque 1.2 Nm, free rate 5 rad/s."""
    side = SideDrive(0.6, 5.0, 0.0)
    base = MachineModel(
        name,
        2.5,
        (0.28, 0.234, 0.12),
        (0.0, 0.0, 0.06),
        (-0.145, 0.0, 0.052),
        0.8,
        0.8,
        wheelbase_m=0.17,
        track_m=0.21,
        wheel_radius_m=RADIUS_M,
        left=side,
        right=side,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def sled(mass_kg: float, grip: float, hitch_height_m: float = 0.052) -> MachineModel:
    """A box dragged over the table, hitched as high as the machine so that the rope lies level."""
    return MachineModel(
        "sled", mass_kg, (0.26, 0.2, 0.07), (0, 0, 0.035), (-0.13, 0, hitch_height_m), grip, grip,
        wheelbase_m=0.26, track_m=0.2,
    )  # fmt: skip


def against(machine: MachineModel, load: MachineModel) -> MatchModel:
    """The machine at the −x end of a rope that is just taut, the load at the +x end."""
    starts = (Pose(-0.25 + machine.hitch_m[0], 0, np.pi), Pose(0.25 - load.hitch_m[0], 0, 0.0))
    return MatchModel((machine, load), starts, RopeModel(0.5), G)


def test_terminal_speed_of_a_machine_alone() -> None:
    # Share 0.5 on torque with friction f: 0.5 Ts (1 − w/w0) = f.
    throttle, friction_Nm = ((0.0, 0.5),), 0.09
    side = SideDrive(0.6, 5.0, friction_Nm / 2, throttle=throttle)
    course = play_match(MatchModel((puller(left=side, right=side),), (Pose(0, 0, 0),)), np.linspace(0, 6, 61))
    expected_m_s = 5.0 * (1 - friction_Nm / (0.5 * 1.2)) * RADIUS_M
    assert course.machines[0].forward_m_s[-1] == pytest.approx(expected_m_s, rel=1e-4)


def test_terminal_speed_under_a_dragged_load() -> None:
    # Traction r⁻¹ Ts (1 − w/w0) = friction of the load.
    load = sled(3.0, 0.3)
    course = play_match(against(puller(), load), np.linspace(0, 6, 61))
    drag_N = 0.3 * 3.0 * G
    rate_rad_s = 5.0 * (1 - drag_N * RADIUS_M / 1.2)
    assert course.tension_N[-1] == pytest.approx(drag_N, rel=1e-4)
    assert course.machines[1].forward_m_s[-1] == pytest.approx(-rate_rad_s * RADIUS_M, rel=5e-3)


@pytest.mark.parametrize("driven", ["rear", "front", "all"])
def test_grip_limits_the_pull(driven: Driven) -> None:
    # The load is too heavy to move, the drive strong enough to spin the wheels.
    side = SideDrive(1.5, 5.0)
    machine = puller(driven=driven, left=side, right=side)
    course = play_match(against(machine, sled(20.0, 0.9)), np.linspace(0, 3, 31))
    limit_N = grip_limited_pull_N(0.8, 2.5, G, 0.17, 0.0, 0.052, driven=driven)
    assert course.tension_N[-1] == pytest.approx(float(limit_N), rel=2e-3)
    assert course.machines[0].slip_speed_m_s[-1] > 0.03


def test_stalled_machine_holds_with_its_stall_pull() -> None:
    # Slowly, lest the drive's friction hold what the machine's momentum has stretched.
    side = SideDrive(0.3, 5.0, 0.045, throttle=((0.0, 0.0), (2.5, 1.0)))
    course = play_match(against(puller(left=side, right=side), sled(20.0, 0.9)), np.linspace(0, 3, 31))
    assert course.tension_N[-1] == pytest.approx((0.6 - 0.09) / RADIUS_M, rel=5e-3)
    assert abs(course.machines[0].forward_m_s[-1]) < 5e-4


def test_drive_friction_holds_a_machine_without_drive() -> None:
    # An idle machine is towed: it begins to roll at friction / radius, not below.
    idle = SideDrive(0.6, 5.0, 0.1, throttle=((0.0, 0.0),))
    weak = SideDrive(0.6, 5.0, 0.0, throttle=((0.0, 0.15),))  # pulls 1.2 · 0.15 / r = 4 N against 4.44 N
    strong = SideDrive(0.6, 5.0, 0.0, throttle=((0.0, 0.20),))
    towed = puller("plover", left=idle, right=idle)
    rolls = []
    for drive in (weak, strong):
        course = play_match(against(puller(left=drive, right=drive), towed), np.linspace(0, 4, 41))
        rolls.append(abs(course.machines[1].x_m[-1] - course.machines[1].x_m[10]))
    assert rolls[0] < 2e-3
    assert rolls[1] > 0.02


def test_brake_holds_against_being_drawn_back_and_base_holds_its_pull() -> None:
    braked = puller(
        "plover", left=None, right=None, wheel_radius_m=0.0, grip_static=0.0, grip_sliding=0.0, holding_N=9.0
    )
    course = play_match(against(puller(), braked), np.linspace(0, 3, 31))
    assert course.tension_N[-1] == pytest.approx(9.0, rel=1e-3)
    locked = puller("plover", left=SideDrive(1e-9, 5.0), right=SideDrive(1e-9, 5.0), brake_N=12.0)
    course = play_match(against(puller(), locked), np.linspace(0, 3, 31))
    assert course.tension_N[-1] == pytest.approx(12.0, rel=5e-3)


def test_energy_balance() -> None:
    # Work of the drives = energy of motion and stretch + what friction, drive and rope lose, through slip and slack.
    other = puller("plover", mass_kg=3.1, grip_static=0.9, grip_sliding=0.82, rolling_resistance=0.02)
    late = SideDrive(0.8, 4.8, 0.05, throttle=((0.0, 0.0), (0.6, 0.2), (1.5, 1.0)))
    other = replace(other, left=late, right=late, start_delay_s=0.1)
    model = MatchModel(
        (puller(), other), (Pose(-0.68, -0.03, np.deg2rad(177)), Pose(0.68, 0.03, np.deg2rad(3))), RopeModel(1.08), G
    )
    course = play_match(model, np.linspace(0, 4, 40_001), relative=1e-7)
    given_W = sum(machine.drive_power_W for machine in course.machines)
    lost_W = course.rope_loss_W + sum(machine.loss_power_W for machine in course.machines)
    given_J = cumulative_simpson(np.asarray(given_W), x=course.t_s, initial=0)
    lost_J = cumulative_simpson(np.asarray(lost_W), x=course.t_s, initial=0)
    assert given_J[-1] > 1.0
    assert np.abs(course.energy_J - course.energy_J[0] - (given_J - lost_J)).max() <= 1e-3 * given_J[-1]


def test_uneven_drives_turn_a_machine() -> None:
    weak, strong = SideDrive(0.2, 5.0), SideDrive(0.6, 5.0)
    straight = play_match(MatchModel((puller(),), (Pose(0, 0, 0),)), np.linspace(0, 1, 11))
    turning = play_match(MatchModel((puller(left=weak, right=strong),), (Pose(0, 0, 0),)), np.linspace(0, 1, 11))
    assert abs(straight.machines[0].heading_rad[-1]) < 1e-6
    assert turning.machines[0].heading_rad[-1] > 1e-4


def test_oblique_pull_on_a_spinning_machine_turns_it_into_the_rope() -> None:
    machine = puller(left=SideDrive(1.5, 5.0), right=SideDrive(1.5, 5.0))
    model = against(machine, sled(20.0, 0.9))
    start = replace(model.starts[0], heading_rad=np.pi - np.deg2rad(6))
    course = play_match(replace(model, starts=(start, model.starts[1])), np.linspace(0, 4, 41))
    heading, hitch_y = course.machines[0].heading_rad, course.machines[0].hitch_y_m
    along_rope = np.pi + np.arctan2(-hitch_y[-1], 0.5) * -1
    assert abs(heading[0] - np.pi) > 0.1
    assert abs(heading[-1] - along_rope) < 0.02


def test_rope_whose_end_moves_as_measured() -> None:
    # Drawn back evenly at 0.1 m/s over grip that gives way: the tension is the sliding grip, the work against it lost.
    machine = puller(left=SideDrive(1.5, 5.0), right=SideDrive(1.5, 5.0))
    way = tuple((t, 0.5 + 0.1 * max(t - 1.0, 0.0), 0.0) for t in np.linspace(0, 4, 81).tolist())
    model = MatchModel((machine,), (Pose(-0.145, 0, np.pi),), RopeModel(0.5), G, far_end=MeasuredEnd(way, 0.052))
    course = play_match(model, np.linspace(0, 4, 401))
    assert course.tension_N[-1] == pytest.approx(0.8 * 2.5 * G, rel=2e-3)
    assert course.machines[0].velocity_x_m_s[-1] == pytest.approx(0.1, rel=1e-3)
    given_W, lost_W = course.machines[0].drive_power_W[-1], course.machines[0].loss_power_W[-1]
    assert course.rope_loss_W[-1] == pytest.approx(given_W - lost_W, rel=0.01)  # all that is left goes into the rope
    assert course.rope_loss_W[-1] == pytest.approx(-0.1 * course.tension_N[-1], rel=0.01)  # whose end draws it
