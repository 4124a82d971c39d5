"""The computed match on a slope and over a ridge against closed forms (derived here)."""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson

from matchvision.mechanics import layout as at
from matchvision.mechanics.ground import GRID_M, grid_of, stand_table
from matchvision.mechanics.machine import MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import MatchCourse, play_match, play_match_quickly
from matchvision.mechanics.rope import RopeModel
from matchvision.mechanics.tautrope import lay_rope

G: Final = 9.80665
RADIUS_M, MASS_KG, WHEELBASE_M, HITCH_M = 0.045, 2.5, 0.17, 0.03
TILT_RAD: Final = np.radians(6.0)
RISE: Final = float(np.tan(TILT_RAD))
RIDGE: Final = ((-1.2, -1.2 * RISE), (0.0, 0.0), (1.2, -1.2 * RISE))
RAMP: Final = ((-1.2, -1.2 * RISE), (1.2, 1.2 * RISE))


def puller(name: str = "heron", **changes: object) -> MachineModel:
    side = SideDrive(0.6, 5.0, 0.02)
    base = MachineModel(
        name, MASS_KG, (0.28, 0.234, 0.12), (0.0, 0.0, 0.06), (-0.145, 0.0, 0.052), 0.8, 0.8, wheelbase_m=WHEELBASE_M,
        track_m=0.21, wheel_radius_m=RADIUS_M, left=side, right=side,
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def alone(machine: MachineModel, x_m: float, heading_rad: float) -> MatchModel:
    return MatchModel((machine,), (Pose(x_m, 0.0, heading_rad),), None, G, RAMP)


def test_standing_is_what_both_axles_say() -> None:
    """Astride the crest the axles stand half a wheelbase down both slopes; away from it the machine lies on its slope.

    Its wheels' middles are a wheelbase apart, one radius off either slope: by that the origin's height at the crest is
    −(L/2) tan τ + r (1/cos τ − 1).
    """
    table = stand_table(RIDGE, WHEELBASE_M, RADIUS_M)
    x, z, tilt = table[:, at.STAND_X], table[:, at.STAND_Z], table[:, at.STAND_TILT]
    assert np.interp(-0.5, x, z) == pytest.approx(-0.5 * RISE, abs=1e-6)
    assert np.interp(-0.5, x, tilt) == pytest.approx(TILT_RAD, abs=1e-6)
    astride = -WHEELBASE_M / 2 * RISE + RADIUS_M * (1 / np.cos(TILT_RAD) - 1)
    assert np.interp(0.0, x, z) == pytest.approx(astride, abs=2e-6)
    assert np.interp(0.0, x, tilt) == pytest.approx(0.0, abs=1e-6)
    travel = grid_of(RIDGE)[0] + GRID_M * np.arange(len(table))
    apart = np.interp(-0.3, x, travel) - np.interp(-0.6, x, travel)
    assert apart == pytest.approx(0.3 / np.cos(TILT_RAD), abs=1e-6)


def test_rope_over_the_crest_is_two_straight_halves() -> None:
    low = (-0.145, 0.0, HITCH_M)
    machines = (puller(hitch_m=low), puller("plover", hitch_m=low))
    starts = (Pose(-0.6, 0.0, np.pi), Pose(0.5, 0.0, 0.0))
    model = MatchModel(machines, starts, RopeModel(1.0, lying_m=0.009), G, RIDGE)
    length_m, plus_m = lay_rope(model)

    def half(x_m: float) -> float:
        hitch_x = x_m - 0.145 * np.cos(TILT_RAD) + HITCH_M * np.sin(TILT_RAD)
        hitch_z = -x_m * RISE + 0.145 * np.sin(TILT_RAD) + HITCH_M * np.cos(TILT_RAD)
        return float(np.hypot(hitch_x, hitch_z - 0.009))

    assert plus_m == pytest.approx(half(0.5), abs=1e-6)
    assert length_m == pytest.approx(half(0.6) + half(0.5), abs=1e-6)


@pytest.mark.parametrize(("heading_rad", "uphill"), [(0.0, 1.0), (np.pi, -1.0)])
def test_terminal_speed_up_and_down_a_slope(heading_rad: float, uphill: float) -> None:
    # Ts (1 − w/w0) = f + r m g sin τ uphill, with the friction f of the drive.
    course = play_match(alone(puller(), 0.0, heading_rad), np.linspace(0, 4, 41))
    rate_rad_s = 5.0 * (1 - (0.04 + uphill * RADIUS_M * MASS_KG * G * np.sin(TILT_RAD)) / 1.2)
    assert course.machines[0].forward_m_s[-1] == pytest.approx(rate_rad_s * RADIUS_M, rel=3e-3)
    assert course.machines[0].traction_N[-1] == pytest.approx(uphill * MASS_KG * G * np.sin(TILT_RAD), rel=3e-3)


def test_slope_shifts_load_to_the_lower_axle() -> None:
    # Braked on the slope: lower axle W cos τ / 2 + W sin τ z / L.
    side = SideDrive(0.6, 5.0, 2.0, throttle=((0.0, 0.0),))
    machine = puller(left=side, right=side, driven="rear")
    course = play_match(alone(machine, 0.0, 0.0), np.linspace(0, 1, 11))  # looks uphill: the rear is low
    weight_N = MASS_KG * G
    lower_N = weight_N * (np.cos(TILT_RAD) / 2 + np.sin(TILT_RAD) * 0.06 / WHEELBASE_M)
    assert course.machines[0].load_N[-1] == pytest.approx(lower_N, rel=2e-3)
    assert abs(course.machines[0].x_m[-1]) < 1e-3


def test_machine_slides_down_where_friction_is_less_than_the_slope() -> None:
    # A box on a slope steeper than its friction: a = g (sin τ − μ cos τ).
    box = MachineModel("box", 3.0, (0.26, 0.2, 0.07), (0, 0, 0.035), (-0.13, 0, 0.05), 0.05, 0.05, 0.26, 0.2)
    times = np.linspace(0, 0.6, 7)
    course = play_match(alone(box, 0.0, 0.0), times)
    travel = (course.machines[0].x_m - course.machines[0].x_m[0]) / np.cos(TILT_RAD)
    accel = G * (np.sin(TILT_RAD) - 0.05 * np.cos(TILT_RAD))
    assert travel[-1] == pytest.approx(-0.5 * accel * times[-1] ** 2, rel=2e-3)
    still = play_match(alone(replace(box, grip_static=0.2, grip_sliding=0.2), 0.0, 0.0), times)
    assert abs(still.machines[0].x_m[-1]) < 1e-3


def over_the_crest() -> MatchModel:
    """A strong machine drags a weak one up its slope and over the crest."""
    strong = SideDrive(1.6, 5.0, 0.02)
    plover = puller("plover", mass_kg=4.0, grip_static=0.9, grip_sliding=0.9, left=strong, right=strong)
    heron = puller(grip_static=0.45, grip_sliding=0.4)
    heron, plover = (replace(machine, hitch_m=(-0.145, 0.0, HITCH_M)) for machine in (heron, plover))
    return MatchModel(
        (heron, plover), (Pose(-0.66, -0.02, np.pi), Pose(0.66, 0.02, 0.0)), RopeModel(1.05, lying_m=0.009), G, RIDGE
    )


def test_energy_over_the_crest() -> None:
    # Work of the drives = motion, stretch, height gained + what friction, drive and rope lose.
    course = play_match(over_the_crest(), np.linspace(0, 7, 35_001), relative=1e-7)
    assert course.machines[0].x_m[0] < -0.6 < 0.1 < course.machines[0].x_m[-1]
    given_J, lost_J = (
        cumulative_simpson(np.asarray(power_W), x=course.t_s, initial=0)
        for power_W in (
            sum(machine.drive_power_W for machine in course.machines),
            course.rope_loss_W + sum(machine.loss_power_W for machine in course.machines),
        )
    )
    apart_J = course.energy_J - course.energy_J[0] - (given_J - lost_J)
    assert np.abs(apart_J).max() <= 1e-3 * given_J[-1]


def test_pull_on_the_slope_is_grip_less_weight_along_it() -> None:
    """Both stand on their own slopes; the sliding one, drawn up backwards, pulls with its grip and its weight."""
    course: MatchCourse = play_match(over_the_crest(), np.linspace(0, 3, 61))
    heron = course.machines[0]
    # As long as its hitch is below the crest's rope, the rope surely lies on the crest.
    sliding = (course.t_s > 0.8) & (heron.hitch_x_m * RISE + HITCH_M / np.cos(TILT_RAD) < 0.009)
    assert sliding.sum() > 5
    rope_tilt = (
        np.arctan2(0.009 - (heron.hitch_x_m * RISE + HITCH_M / np.cos(TILT_RAD)), -heron.hitch_x_m)[sliding] - TILT_RAD
    )
    load_N = MASS_KG * G * np.cos(TILT_RAD) - course.tension_N[sliding] * np.sin(rope_tilt)
    expected_N = (0.4 * load_N + MASS_KG * G * np.sin(TILT_RAD)) / np.cos(rope_tilt)
    np.testing.assert_allclose(course.tension_N[sliding], expected_N, rtol=5e-3)


def test_quick_steps_agree_over_the_crest() -> None:
    times = np.linspace(0, 7, 141)
    exact, quick = play_match(over_the_crest(), times), play_match_quickly(over_the_crest(), times)
    for one, other in zip(exact.machines, quick.machines, strict=True):
        assert np.abs(one.x_m - other.x_m).max() < 1e-3
    assert np.sqrt(np.mean((exact.tension_N - quick.tension_N) ** 2)) < 0.1


def test_flat_profile_is_the_level_table() -> None:
    level = replace(over_the_crest(), profile_m=())
    flat = replace(level, profile_m=((-1.0, 0.0), (1.0, 0.0)))
    # A table that lies a hand higher all over is level too, though it is followed as a profile.
    higher = replace(level, profile_m=((-1.0, 0.1), (0.3, 0.1), (1.0, 0.1)))
    times = np.linspace(0, 2, 21)
    reference = play_match(level, times)
    for other in (flat, higher):
        course = play_match(other, times)
        np.testing.assert_allclose(course.machines[0].x_m, reference.machines[0].x_m, atol=1e-6)
        np.testing.assert_allclose(course.tension_N, reference.tension_N, atol=1e-3)
