"""What limits a machine's pull."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2, grip_limited_pull_N
from matchvision.mechanics.machine import Changes, MachineModel, MatchModel, Pose, SideDrive
from matchvision.mechanics.match import play_match_quickly
from matchvision.mechanics.rope import RopeModel
from matchvision.remedies.limiting import limits_over_run, steady_pull_N
from matchvision.remedies.winning import STEP_S

SIDE = SideDrive(stall_torque_Nm=0.60, free_rate_rad_s=6.0, friction_Nm=0.05)
HERON = MachineModel(
    "heron", 2.5, (0.28, 0.23, 0.12), (0.0, 0.0, 0.06), (-0.145, 0.0, 0.055), 0.8, 0.8, 0.17, 0.23, 0.045,
    left=SIDE, right=SIDE, rolling_resistance=0.01,
)  # fmt: skip
WEIGHT_N = 2.5 * STANDARD_GRAVITY_M_S2


def limited(machine: MachineModel, pull_N: float, limit: str) -> bool:
    """Whether a machine holds this pull and no more, by this limit."""
    told_N, word = steady_pull_N(machine, STANDARD_GRAVITY_M_S2)
    return word == limit and told_N == pytest.approx(pull_N)


def test_limits_follow_the_closed_forms() -> None:
    strong = replace(HERON, left=replace(SIDE, stall_torque_Nm=1.2), right=replace(SIDE, stall_torque_Nm=1.2))
    assert limited(strong, 0.8 * WEIGHT_N, "grip")
    assert limited(replace(HERON, grip_sliding=2.0), 2 * 0.55 / 0.045 - 0.01 * WEIGHT_N, "motor")
    rear = replace(strong, driven="rear", centre_of_mass_m=(0.02, 0.0, 0.06))
    expected_N = float(grip_limited_pull_N(0.8, 2.5, STANDARD_GRAVITY_M_S2, 0.17, 0.02, 0.055, driven="rear"))
    assert limited(rear, expected_N, "grip")
    # Its front lifts at W (L/2 + x)/h; a higher hitch lifts it before its grip is used up.
    lifted = replace(rear, centre_of_mass_m=(-0.06, 0.0, 0.06), hitch_m=(-0.145, 0.0, 0.12))
    assert steady_pull_N(lifted, STANDARD_GRAVITY_M_S2)[1] == "weight"


def test_what_was_lost_limits_too() -> None:
    one_side = replace(HERON, grip_sliding=2.0, changes=Changes(loss_s=1.0, lost_left=1.0))
    assert limited(one_side, 0.55 / 0.045 - 0.01 * WEIGHT_N, "motor")
    slippery = replace(HERON, changes=Changes(grip_since_s=1.0, grip_ratio=0.5))
    assert limited(slippery, 0.4 * WEIGHT_N, "grip")


def test_sliding_wheels_are_limited_by_grip() -> None:
    """Against a heavy load wheels of little grip slide, wheels of much grip stall; a rope not yet taut hangs."""
    load = MachineModel("sled", 30.0, (0.3, 0.3, 0.1), (0, 0, 0.05), (-0.15, 0, 0.05), 0.9, 0.9, 0.3, 0.3)
    poses = (Pose(0.5, 0.0, 0.0), Pose(-0.5, 0.0, np.pi))
    t_s = np.arange(0.0, 3.0, STEP_S)
    shares = {}
    for name, grip, length_m in (("slides", 0.3, 0.70), ("stalls", 2.0, 0.70), ("hangs", 0.3, 2.0)):
        machine = replace(HERON, grip_static=grip, grip_sliding=grip)
        course = play_match_quickly(MatchModel((machine, load), poses, RopeModel(length_m)), t_s)
        told = limits_over_run([machine], [course.machines[0]], [course.tension_N], t_s, t_s > 1.0)
        shares[name] = dict(told)
        assert sum(shares[name].values()) == pytest.approx(1.0)
    assert shares["slides"]["grip"] > 0.99
    assert shares["stalls"]["motor"] > 0.99
    assert shares["hangs"]["rope"] > 0.99


def test_lifted_wheels_matter_where_not_all_are_driven() -> None:
    """Load across the diagonal lifts two wheels of a machine that slides; driven all four, it pulls as without that."""
    load = MachineModel("sled", 30.0, (0.3, 0.3, 0.1), (0, 0, 0.05), (-0.15, 0, 0.05), 0.9, 0.9, 0.3, 0.3)
    poses = (Pose(0.5, 0.0, 0.0), Pose(-0.5, 0.0, np.pi))
    t_s = np.arange(0.0, 3.0, STEP_S)
    steady = t_s > 1.0
    slides = replace(HERON, grip_static=0.3, grip_sliding=0.3)
    rocking = replace(slides, diagonal_ratio=1.2)
    shares, pulls_N = {}, {}
    for name, machine in {
        "stands": slides, "rocks": rocking, "rocks, rear driven": replace(rocking, driven="rear"),
        "stands, rear driven": replace(slides, driven="rear"),
    }.items():  # fmt: skip
        course = play_match_quickly(MatchModel((machine, load), poses, RopeModel(0.70)), t_s)
        own = course.machines[0]
        assert bool(np.all(own.least_load_N[steady] < 0)) == name.startswith("rocks")
        shares[name] = dict(limits_over_run([machine], [own], [course.tension_N], t_s, steady))
        pulls_N[name] = float(np.mean(course.tension_N[steady]))
    assert shares["stands"]["grip"] > 0.99
    assert shares["rocks"]["grip"] > 0.99
    assert "weight" not in shares["rocks"]
    assert pulls_N["rocks"] == pytest.approx(pulls_N["stands"], rel=0.01)
    assert shares["rocks, rear driven"]["weight"] > 0.99
    assert shares["stands, rear driven"]["grip"] > 0.99
