"""What happens in mid-run changes the match from then or there on, by the closed forms, and not before."""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest

from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.mechanics.machine import Changes, MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import MatchCourse, play_match, play_match_quickly
from matchvision.mechanics.rope import RopeModel

TIMES_S: Final = np.linspace(0.0, 4.0, 401)
STALL_NM, FREE_RAD_S, RADIUS_M, MASS_KG = 1.2, 5.0, 0.045, 2.5


def machine(name: str, grip: float, stall_Nm: float = STALL_NM, changes: Changes | None = None) -> MachineModel:
    side = SideDrive(stall_Nm / 2, FREE_RAD_S)
    return MachineModel(
        name, MASS_KG, (0.28, 0.234, 0.12), (0.0, 0.0, 0.06), (-0.145, 0.0, 0.05), grip, grip, wheelbase_m=0.17,
        track_m=0.21, wheel_radius_m=RADIUS_M, left=side, right=side, changes=changes or Changes(),
    )  # fmt: skip


def against_a_wall(**told: float) -> MatchModel:
    """A machine that hangs on a rope whose other end a very heavy, dragged block holds."""
    changes = Changes(**told)  # type: ignore[arg-type]
    block = MachineModel("block", 500.0, (0.3, 0.3, 0.1), (0.0, 0.0, 0.05), (-0.15, 0.0, 0.05), 2.0, 2.0, 0.3, 0.3)
    starts = (Pose(-0.645, 0.0, np.pi), Pose(0.65, 0.0, 0.0))
    return MatchModel((machine("heron", 0.9, changes=changes), block), starts, RopeModel(1.0))


def settled_N(course: MatchCourse, from_s: float) -> float:  # noqa: N802 - SI
    return float(np.mean(course.tension_N[course.t_s > from_s]))


def test_half_the_drive_pulls_half_the_stall_pull() -> None:
    course = play_match(against_a_wall(loss_s=2.0, lost_left=0.5, lost_right=0.5), TIMES_S)
    whole = float(np.mean(course.tension_N[(TIMES_S > 1.5) & (TIMES_S < 2.0)]))
    assert whole == pytest.approx(0.9 * MASS_KG * STANDARD_GRAVITY_M_S2, rel=0.02)  # its grip gives way first
    assert settled_N(course, 3.5) == pytest.approx(0.5 * STALL_NM / RADIUS_M, rel=0.02)


def test_lost_grip_limits_the_pull_to_what_is_left_of_it() -> None:
    course = play_match(against_a_wall(grip_since_s=2.0, grip_ratio=0.6), TIMES_S)
    weight_N = MASS_KG * STANDARD_GRAVITY_M_S2
    assert settled_N(course, 3.5) == pytest.approx(0.6 * 0.9 * weight_N, rel=0.02)
    same = play_match(against_a_wall(), TIMES_S)
    early = TIMES_S < 1.99
    np.testing.assert_allclose(course.tension_N[early], same.tension_N[early], atol=1e-3)


def test_released_rope_pulls_no_more() -> None:
    model = against_a_wall()
    assert model.rope is not None
    course = play_match(replace(model, rope=replace(model.rope, release_s=1.5)), TIMES_S)
    assert course.tension_N[TIMES_S > 1.51].max() == 0.0
    assert course.tension_N[(TIMES_S > 1.0) & (TIMES_S < 1.49)].min() > 10
    free_m_s = FREE_RAD_S * RADIUS_M
    assert course.machines[0].forward_m_s[-1] == pytest.approx(free_m_s, rel=0.02)


def test_grip_over_a_stretch_counts_only_there() -> None:
    alone = MatchModel((machine("heron", 0.9, changes=Changes(stretch_m=(-5.0, 5.0), stretch_ratio=0.1)),),
                       (Pose(0.0, 0.0, np.pi),))  # fmt: skip
    course = play_match(alone, TIMES_S)
    accel = np.gradient(course.machines[0].forward_m_s, TIMES_S)[3]
    assert accel == pytest.approx(0.09 * STANDARD_GRAVITY_M_S2, rel=0.02)
    away = replace(alone, machines=(machine("heron", 0.9, changes=Changes(stretch_m=(2.0, 5.0), stretch_ratio=0.1)),))
    plain = replace(alone, machines=(machine("heron", 0.9),))
    np.testing.assert_allclose(
        play_match(away, TIMES_S).machines[0].x_m, play_match(plain, TIMES_S).machines[0].x_m, atol=1e-5
    )


def test_a_load_drags_more_by_the_part_of_its_base_that_lies_on_a_rough_stretch() -> None:
    """Pulled at the table's height, so that no weight shifts: T + m a = μ m g (1 + (r - 1) covered part)."""
    base_m, mass_kg, grip, ratio, edge_m = 0.3, 2.0, 0.25, 2.5, 0.3
    changes = Changes(stretch_m=(-5.0, edge_m), stretch_ratio=ratio)
    sled = MachineModel(
        "sled", mass_kg, (base_m, 0.2, 0.1), (0.0, 0.0, 0.0), (-base_m / 2, 0.0, 0.0), grip, grip, base_m, 0.2,
        changes=changes,
    )  # fmt: skip
    heron = replace(machine("heron", 0.9), hitch_m=(-0.145, 0.0, 0.0))
    starts = (Pose(-0.645, 0.0, np.pi), Pose(0.655, 0.0, 0.0))
    course = play_match(MatchModel((heron, sled), starts, RopeModel(1.0)), np.linspace(0.0, 6.0, 1201))
    own = course.machines[1]
    covered = np.clip((edge_m - (own.x_m - base_m / 2)) / base_m, 0.0, 1.0)
    drag_N = course.tension_N + mass_kg * np.gradient(own.velocity_x_m_s, course.t_s)
    drag_N = drag_N / (grip * mass_kg * STANDARD_GRAVITY_M_S2)
    going = (own.velocity_x_m_s < -0.02) & (course.t_s > 1.0)
    assert covered[going].min() < 0.05
    assert covered[going].max() > 0.8
    np.testing.assert_allclose(drag_N[going], 1 + (ratio - 1) * covered[going], rtol=0.02)


def test_wall_stops_the_machine_where_it_stands() -> None:
    alone = MatchModel((machine("heron", 0.9, changes=Changes(wall_x_m=-0.3)),), (Pose(0.0, 0.0, np.pi),))
    course = play_match(alone, TIMES_S)
    assert course.machines[0].x_m[-1] == pytest.approx(-0.3, abs=0.002)


@pytest.mark.parametrize(
    "told", [{"loss_s": 1.2, "lost_left": 0.5, "lost_right": 0.1}, {"grip_since_s": 1.0, "grip_ratio": 0.6}]
)
def test_quick_steps_agree_across_jumps(told: dict[str, float]) -> None:
    exact, quick = (play(against_a_wall(**told), TIMES_S) for play in (play_match, play_match_quickly))
    assert np.abs(exact.machines[0].x_m - quick.machines[0].x_m).max() < 5e-4
    assert np.sqrt(np.mean((exact.tension_N - quick.tension_N) ** 2)) < 0.15


def test_wall_met_askew_turns_the_machine_flat_against_it() -> None:
    """Pushing on one corner turns it until both corners touch; its middle then stands where a square one stops."""
    askew = MatchModel((machine("heron", 0.5, changes=Changes(wall_x_m=-0.3)),), (Pose(0.0, 0.0, np.pi + 0.04),))
    own = play_match(askew, TIMES_S).machines[0]
    assert own.heading_rad[-1] == pytest.approx(np.pi, abs=0.004)
    assert own.x_m[-1] == pytest.approx(-0.3, abs=0.003)
    first = int(np.argmax(np.abs(np.gradient(own.heading_rad, TIMES_S)) > 0.05))
    # The corner lies ahead of the middle by half the width times the tilt when it meets the wall.
    assert own.x_m[first] == pytest.approx(-0.3 + 0.117 * 0.04, abs=0.003)
