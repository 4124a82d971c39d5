"""The two solvers agree, the compiled law is the published one, and what must not matter does not."""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.mechanics import layout as at
from matchvision.mechanics import plans
from matchvision.mechanics.dynamics import make_room, state_rates
from matchvision.mechanics.jacobian import rates_jacobian
from matchvision.mechanics.machine import MachineModel, MatchModel, MeasuredEnd, Pose, SideDrive
from matchvision.mechanics.match import first_slip_s, play_match, play_match_quickly
from matchvision.mechanics.motor import drive_torque_Nm
from matchvision.mechanics.packing import pack
from matchvision.mechanics.rope import RopeModel, rope_tension_N

TIMES_S: Final = np.linspace(0.0, 4.0, 401)


def machine(name: str, mass_kg: float, stall_Nm: float, throttle: tuple[tuple[float, float], ...]) -> MachineModel:
    side = SideDrive(stall_Nm / 2, 5.0, 0.045, throttle=throttle)
    return MachineModel(
        name,
        mass_kg,
        (0.28, 0.234, 0.12),
        (0.01, 0.0, 0.06),
        (-0.145, 0.0, 0.052),
        0.85,
        0.78,
        wheelbase_m=0.17,
        track_m=0.21,
        wheel_radius_m=0.045,
        left=side,
        right=side,
    )


def match() -> MatchModel:
    """Heron is drawn forward, then back, and loses its grip when plover gives all its drive."""
    heron = machine("heron", 2.5, 1.3, ((0.0, 0.0), (0.25, 0.72), (1.0, 1.0)))
    plover = machine("plover", 3.1, 1.5, ((0.0, 0.0), (0.6, 0.22), (1.8, 1.0)))
    starts = (Pose(-0.685, -0.03, np.deg2rad(177.5)), Pose(0.685, 0.025, np.deg2rad(2.0)))
    return MatchModel((heron, plover), starts, RopeModel(1.09))


def test_quick_steps_agree_with_scipy() -> None:
    exact, quick = play_match(match(), TIMES_S), play_match_quickly(match(), TIMES_S)
    assert np.isfinite(first_slip_s(TIMES_S, exact.machines[0].slip_speed_m_s))
    for one, other in zip(exact.machines, quick.machines, strict=True):
        assert np.abs(one.x_m - other.x_m).max() < 2e-4
        assert np.abs(one.y_m - other.y_m).max() < 2e-4
        assert np.abs(one.heading_rad - other.heading_rad).max() < 2e-3
        assert np.abs(one.slip_speed_m_s - other.slip_speed_m_s).max() < 3e-3
    assert np.sqrt(np.mean((exact.tension_N - quick.tension_N) ** 2)) < 0.1
    slips = [first_slip_s(TIMES_S, course.machines[0].slip_speed_m_s) for course in (exact, quick)]
    assert slips[0] == pytest.approx(slips[1], abs=0.003)


def test_tolerance_no_longer_matters() -> None:
    coarse, fine = play_match(match(), TIMES_S, relative=1e-5), play_match(match(), TIMES_S, relative=1e-8)
    assert np.abs(coarse.machines[0].x_m - fine.machines[0].x_m).max() < 1e-5


def test_located_slip_is_where_the_rows_show_it() -> None:
    course = play_match(match(), TIMES_S)
    located = [time_s for word, name, time_s in course.events if word == "slip" and name == "heron"]
    assert located[0] == pytest.approx(first_slip_s(TIMES_S, course.machines[0].slip_speed_m_s), abs=2e-3)
    assert course.events[0][0] == "taut"


def test_compiled_torque_is_the_motor_line() -> None:
    for on_voltage in (0.0, 1.0):
        for rate in (-2.0, 0.0, 3.0, 6.0):
            for share in (0.0, 0.4, 1.0):
                compiled = plans.drive_torque_Nm(rate, share, 1.2, 5.0, on_voltage, 0.2)
                assert compiled == pytest.approx(drive_torque_Nm(rate, share, 1.2, 5.0, on_voltage, 0.2))


def test_compiled_rope_is_the_rope_law() -> None:
    course = play_match(match(), TIMES_S)
    a, b = course.machines
    span_m = np.hypot(np.hypot(b.hitch_x_m - a.hitch_x_m, b.hitch_y_m - a.hitch_y_m), 0.0)
    stretch_m = span_m - 1.09
    rate_m_s = np.gradient(stretch_m, TIMES_S)
    settled = TIMES_S > 2.5
    expected_N = rope_tension_N(stretch_m, rate_m_s, RopeModel(1.09))
    np.testing.assert_allclose(course.tension_N[settled], expected_N[settled], atol=0.05)


def test_mirrored_match_is_the_match_mirrored() -> None:
    straight = play_match(match(), TIMES_S)
    model = match()
    turned = tuple(Pose(-p.x_m, -p.y_m, p.heading_rad + np.pi) for p in model.starts)
    mirrored = play_match(replace(model, starts=turned), TIMES_S)
    np.testing.assert_allclose(mirrored.machines[0].x_m, -straight.machines[0].x_m, atol=1e-5)
    np.testing.assert_allclose(mirrored.tension_N, straight.tension_N, atol=1e-2)
    np.testing.assert_allclose(
        1.09 + np.maximum(straight.stretch_m, 0), mirrored.on_plus_x_m + straight.on_plus_x_m, atol=1e-4
    )


def test_order_of_the_machines_does_not_matter() -> None:
    model = match()
    swapped = MatchModel(model.machines[::-1], model.starts[::-1], model.rope)
    one, other = play_match(model, TIMES_S), play_match(swapped, TIMES_S)
    np.testing.assert_allclose(other.machines[1].x_m, one.machines[0].x_m, atol=1e-5)
    np.testing.assert_allclose(other.on_plus_x_m, one.on_plus_x_m, atol=1e-5)


def test_late_start_shifts_the_plan() -> None:
    model = MatchModel((machine("heron", 2.5, 1.3, ((0.0, 1.0),)),), (Pose(0.0, 0.0, 0.0),))
    late = replace(model, machines=(replace(model.machines[0], start_delay_s=1.0),))
    on_time, delayed = (play_match(m, TIMES_S).machines[0].x_m for m in (model, late))
    assert abs(delayed[TIMES_S <= 1.0]).max() < 1e-6
    np.testing.assert_allclose(delayed[100:], on_time[:-100], atol=1e-4)


def test_slip_must_last() -> None:
    t_s = np.linspace(0, 1, 101)
    slip_m_s = np.where((t_s > 0.2) & (t_s < 0.3), 0.1, 0.0)
    assert np.isnan(first_slip_s(t_s, slip_m_s))
    assert first_slip_s(t_s, np.where(t_s > 0.5, -0.1, slip_m_s)) == pytest.approx(0.503, abs=0.005)


def test_a_match_that_cannot_be_computed_says_so() -> None:
    model = match()
    side = SideDrive(float("nan"), 5.0)
    broken = replace(model, machines=(replace(model.machines[0], left=side), model.machines[1]))
    with pytest.raises(CannotMeasure, match="cannot be computed"):
        play_match_quickly(broken, TIMES_S)


@pytest.mark.parametrize("alone", [False, True], ids=["two machines", "one on a measured rope"])
def test_jacobian_is_that_of_the_rates(*, alone: bool) -> None:
    """Against central differences; whatever lies in the room beforehand does not matter."""
    model = replace(match(), rope=RopeModel(1.05))
    if alone:
        end = MeasuredEnd(((0.0, 0.5, 0.0), (1.0, 0.6, 0.01)), 0.05)
        model = MatchModel(model.machines[:1], model.starts[:1], model.rope, far_end=end)
    packed = pack(model)
    room = make_room(packed.numbers)
    for part in room:
        part[:] = np.nan
    draw = np.random.default_rng(5)
    state = packed.state + 0.01 * draw.normal(size=2 * at.STATES)
    state[[8, 9, 18, 19]] = 0.5  # drives whose friction is strained
    found, results = np.empty((2 * at.STATES, 2 * at.STATES)), np.empty(at.ALL_RESULTS)
    rates_jacobian(0.5, state, packed.numbers, room, found)
    for i in range(2 * at.STATES):
        ends = []
        for side in (-1e-7, 1e-7):
            moved, out = state.copy(), np.empty(2 * at.STATES)
            moved[i] += side
            state_rates(0.5, moved, packed.numbers, out, results, room)
            ends.append(out)
        column = (ends[1] - ends[0]) / 2e-7
        np.testing.assert_allclose(found[:, i], column, rtol=1e-3, atol=1e-4 * max(1.0, np.abs(column).max()))
