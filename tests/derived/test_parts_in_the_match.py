"""Arms, bases, winches and let-go hitches in the computed match against closed forms (derived here)."""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson

from matchvision.mechanics.machine import Arm, MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import MatchCourse, play_match, play_match_quickly
from matchvision.mechanics.rope import RopeModel

G: Final = 9.80665
MASS_KG, RADIUS_M, STROKE_M, ARM_KG = 2.5, 0.045, 0.2, 0.5


def body(name: str = "heron", **changes: object) -> MachineModel:
    """A box that grips nothing and holds by nothing, unless told."""
    base = MachineModel(
        name, MASS_KG, (0.28, 0.234, 0.12), (0.0, 0.0, 0.06), (-0.145, 0.0, 0.05), 0.0, 0.0, wheelbase_m=0.26,
        track_m=0.21,
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def driven(name: str, grip: float, stall_Nm: float, **changes: object) -> MachineModel:
    side = SideDrive(stall_Nm / 2, 5.0, 0.02, throttle=((0.0, 0.0), (0.5, 1.0)))
    told = {"wheelbase_m": 0.17, "wheel_radius_m": RADIUS_M, "left": side, "right": side}
    return body(name, grip_static=grip, grip_sliding=grip, **(told | changes))


def roped(one: MachineModel, other: MachineModel, slack_m: float = 0.0) -> MatchModel:
    return MatchModel((one, other), (Pose(-0.645, 0.0, np.pi), Pose(0.645 - slack_m, 0.0, 0.0)), RopeModel(1.0), G)


def test_arm_recoil_keeps_the_centre_of_mass() -> None:
    """Without any force from the table the body goes the other way by stroke × arm's mass / whole mass."""
    machine = body(arm=Arm(STROKE_M, ARM_KG, 0.6, 0.2))
    course = play_match(MatchModel((machine,), (Pose(0.0, 0.0, 0.0),), None, G), np.linspace(0, 1, 101))
    out = course.machines[0]
    assert out.x_m[-1] == pytest.approx(STROKE_M * ARM_KG / MASS_KG, abs=1e-7)  # the arm goes backwards
    assert out.x_m[20] == 0.0
    # Half way in time it is half way out, at 1.5 strokes a lasting time.
    assert out.x_m[50] == pytest.approx(out.x_m[-1] / 2, abs=1e-7)
    assert out.velocity_x_m_s[50] == pytest.approx(1.5 * STROKE_M / 0.6 * ARM_KG / MASS_KG, abs=1e-7)


def test_arm_recoil_stays_within_grip() -> None:
    """Standing on enough grip the machine stays: the grip carries the arm's force, 4.5 m s / t² while it gathers speed.

    On less grip than that it is pushed forward.
    """
    force_N = 4.5 * ARM_KG * STROKE_M / 0.3**2
    for grip, stays in ((1.3 * force_N / (MASS_KG * G), True), (0.5 * force_N / (MASS_KG * G), False)):
        machine = body(grip_static=grip, grip_sliding=grip, arm=Arm(STROKE_M, ARM_KG, 0.3, 0.1))
        course = play_match(MatchModel((machine,), (Pose(0.0, 0.0, 0.0),), None, G), np.linspace(0, 1, 101))
        assert bool(np.abs(course.machines[0].x_m).max() < 1e-3) is stays


def test_arm_carries_the_hitch_and_shifts_the_weight() -> None:
    arm = Arm(STROKE_M, ARM_KG, 0.5)
    machine = driven("heron", 1.0, 1e-9, brake_N=100.0, arm=arm, driven="rear")
    course = play_match(MatchModel((machine,), (Pose(0.0, 0.0, 0.0),), None, G), np.linspace(0, 1, 101))
    out = course.machines[0]
    assert out.hitch_x_m[-1] - out.x_m[-1] == pytest.approx(-0.145 - STROKE_M, abs=1e-9)
    rear_N = MASS_KG * G * (0.5 + STROKE_M * ARM_KG / MASS_KG / 0.17)
    assert out.load_N[-1] == pytest.approx(rear_N, rel=1e-3)


def test_base_holds_less_as_time_goes() -> None:
    """Its hold falls by straight lines from 14 N to 7 N; the stronger puller draws it with just that."""
    base = body("base", holding_N=14.0, holding_plan=((0.0, 1.0), (3.0, 0.5)))
    puller = driven("heron", 1.0, 1.5)
    course = play_match(roped(puller, base), np.linspace(0, 3, 301))
    late = course.t_s > 1.5
    expected_N = 14.0 * (1.0 - 0.5 * course.t_s[late] / 3.0)
    np.testing.assert_allclose(course.tension_N[late], expected_N, rtol=0.02)


def test_base_holds_less_at_an_angle() -> None:
    """The rope climbs by atan(0.3 / 0.4) to a high hitch: there the base holds 60 % as much."""
    base = body("base", mass_kg=20.0, hitch_m=(-0.145, 0.0, 0.0), holding_N=10.0,
                holding_by_angle=((0.0, 1.0), (np.arctan2(0.3, 0.4), 0.6), (np.pi / 2, 0.1)))  # fmt: skip
    high = driven("heron", 1.0, 1.5, mass_kg=6.0, hitch_m=(-0.145, 0.0, 0.3))
    model = MatchModel((high, base), (Pose(-0.345, 0.0, np.pi), Pose(0.345, 0.0, 0.0)), RopeModel(0.5), G)
    course = play_match(model, np.linspace(0, 2, 201))
    assert course.tension_N[-1] * 0.8 == pytest.approx(6.0, rel=0.02)  # its part along the table
    straight = replace(base, hitch_m=(-0.145, 0.0, 0.3))
    course = play_match(replace(model, machines=(high, straight), rope=RopeModel(0.4)), np.linspace(0, 2, 201))
    assert course.tension_N[-1] == pytest.approx(10.0, rel=0.02)


def test_rope_wound_in_draws_the_other_by_as_much() -> None:
    held = driven("heron", 1.0, 1e-9, brake_N=200.0, winding=((0.5, 0.0), (2.5, 0.2)))
    sled = body("sled", grip_static=0.2, grip_sliding=0.2)
    course = play_match(roped(held, sled), np.linspace(0, 3, 301))
    drag_N = 0.2 * MASS_KG * G
    winding = (course.t_s > 1.5) & (course.t_s < 2.4)
    assert course.tension_N[winding].mean() == pytest.approx(drag_N, rel=0.02)  # it swings on the rope meanwhile
    assert course.machines[1].x_m[0] - course.machines[1].x_m[-1] == pytest.approx(
        0.2 - drag_N / 5000, abs=5e-3
    )  # it coasts a little
    # What is on the winch counts where the winch is: the rope on +x is what is left of the sled's half.
    assert course.on_plus_x_m[-1] == pytest.approx(0.5 - 0.2, abs=5e-3)


def test_drive_backwards_runs_free_backwards() -> None:
    back = SideDrive(0.6, 5.0, 0.0, throttle=((0.0, -0.5),))
    for on_voltage, free in ((False, -5.0), (True, -2.5)):
        machine = driven("heron", 1.0, 1.0, left=back, right=back, on_voltage=on_voltage)
        course = play_match(MatchModel((machine,), (Pose(0.0, 0.0, 0.0),), None, G), np.linspace(0, 4, 41))
        assert course.machines[0].forward_m_s[-1] == pytest.approx(free * RADIUS_M, rel=1e-3)


def everything() -> MatchModel:
    """An arm that goes out under load, rope wound in, a base that weakens, a brake, a rope that is let go."""
    heron = driven(
        "heron", 0.8, 1.2, arm=Arm(STROKE_M, ARM_KG, 0.8, 0.5), winding=((0.4, 0.0), (1.6, 0.1)),
        rolling_resistance=0.02, brake_N=5.0,
    )  # fmt: skip
    plover = driven("plover", 0.7, 1.6, mass_kg=3.0, holding_N=4.0, holding_plan=((0.0, 1.0), (2.0, 0.2)),
                    holding_by_angle=((0.0, 1.0), (0.5, 0.5)))  # fmt: skip
    model = roped(heron, plover)
    starts = (Pose(-0.645, -0.03, np.deg2rad(176)), Pose(0.645, 0.03, np.deg2rad(3)))
    return replace(model, starts=starts, rope=RopeModel(1.0, release_s=2.5))


def unbalanced_J(course: MatchCourse, lost_at_release_J: float) -> float:  # noqa: N802 - SI
    """Greatest gap between what was given and what is stored or lost."""
    given_W = sum(machine.drive_power_W for machine in course.machines)
    lost_W = course.rope_loss_W + sum(machine.loss_power_W for machine in course.machines)
    net_J = cumulative_simpson(np.asarray(given_W - lost_W), x=course.t_s, initial=0)
    net_J = net_J - np.where(course.t_s >= 2.5, lost_at_release_J, 0.0)
    return float(np.abs(course.energy_J - course.energy_J[0] - net_J).max())


def test_energy_balance_with_every_part() -> None:
    """Drives, arm and winch give; grip, rolling, brake, base, drive friction and rope lose, to a thousandth of it.

    What the rope held when it was let go is lost too.
    """
    times = np.concatenate([np.linspace(0, 2.5 - 1e-9, 25_001), np.linspace(2.5, 3, 5_001)])
    course = play_match(everything(), times, relative=1e-7)
    held_J = 0.5 * 5000.0 * course.stretch_m[25_000] ** 2
    assert held_J > 0.001
    given_J = cumulative_simpson(np.asarray(sum(m.drive_power_W for m in course.machines)), x=times)[-1]
    assert unbalanced_J(course, held_J) <= 1e-3 * given_J


def test_quick_steps_agree_with_every_part() -> None:
    times = np.linspace(0, 3, 301)
    exact, quick = play_match(everything(), times), play_match_quickly(everything(), times)
    for one, other in zip(exact.machines, quick.machines, strict=True):
        assert np.abs(one.x_m - other.x_m).max() < 5e-4
    assert np.sqrt(np.mean((exact.tension_N - quick.tension_N) ** 2)) < 0.15
