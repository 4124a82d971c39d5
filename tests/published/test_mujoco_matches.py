"""The predicted match against a physics engine that shares nothing with it.

Source: MuJoCo (E. Todorov, T. Erez, Y. Tassa, "MuJoCo: A physics engine for model-based control", IROS 2012), package
``mujoco``: rigid bodies in space, soft contact with elliptic friction cones, a tendon. Ours is planar, with loads from
balance and a smooth friction law. What is the same is only what a team would state: masses, sizes, motor line,
throttle, coefficient of friction, rope stiffness. No values are printed; both are computed here. How the engine's
contact was set, and why, stands in ``mujoco_cases.py``; it is the same in every case.
Checks: places at the end, tension over time, begins and ends of slip, turning, load on the wheels.
Tolerances: places 2 % of the way of the machine that went farther, tension 3 % of its peak (rms) and its mean 2 %, slip
phases (30 mm/s for 0.15 s) 50 ms, in every case: eight begins and two ends in eight cases, none on one side only;
turning 2 % or 0.3 degrees.
Our loads lie on a plane over the contacts, as on four alike springs; the engine's wheels stand on such springs. Tyres
of twice and of less than half the stiffness move the end of the case that depends on them most (one side's drive gone)
by 2 mm of 580.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
import pytest

from matchvision.mechanics.grip import axle_loads_N
from tests.engine.building import GRAVITY_M_S2
from tests.published import mujoco_cases as cases

#: Times of slip that both must show, and how many of their begins and ends; slip that lasts to the last row has no end.
SLIPPING: Final = {
    "grip-limited stall": (1, 1), "spinning start": (1, 2), "drag back": (1, 1), "ridge": (1, 1),
    "one side's drive gone": (1, 1), "oblique start": (1, 1), "grip gone in mid-run": (1, 1), "arm going out": (1, 2),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("make", cases.CASES, ids=lambda make: make.__name__)
def test_match_goes_as_in_the_engine(make: Callable[[], cases.Case]) -> None:
    case = make()
    found = cases.compare(case)
    assert found.place_ratio <= 0.02
    assert found.tension_ratio <= 0.03
    assert abs(found.pull_ratio) <= 0.02
    wanted, ends = SLIPPING.get(case.name, (0, 0))
    assert found.phases == (wanted, wanted)
    assert found.ends == ends
    assert found.slip_ms <= 50 or wanted == 0
    assert found.turned_deg[1] == pytest.approx(found.turned_deg[0], rel=0.02, abs=0.3)


def test_slip_that_ends_on_one_side_only_is_no_agreement() -> None:
    t_s = np.arange(0.0, 2.0, cases.ROW_S)
    ends, lasts = (t_s > 0.5) & (t_s < 1.5), t_s > 0.52
    stops, stays = (cases.slip_phases(t_s, np.where(on, 0.1, 0.0)) for on in (ends, lasts))
    assert cases.ends_apart_s(stops, stops) == [0.0, 0.0]
    assert cases.ends_apart_s(stays, stays) == [0.0]
    assert cases.ends_apart_s(stops, stays) == pytest.approx([0.02, np.inf])
    assert cases.ends_apart_s(stays, stops) == pytest.approx([0.02, np.inf])
    assert cases.ends_apart_s(stops, []) == [np.inf]
    assert cases.ends_apart_s([], []) == []


@pytest.mark.slow
def test_cases_are_what_their_names_say() -> None:
    """In the engine's own runs one is drawn over the crest, and one is turned by its one side."""
    over = cases.play_both(cases.ridge())[1].course.machines["heron"]
    assert over.x_m[0] < -0.4
    assert over.x_m[-1] > 0.1
    turned = cases.play_both(cases.side_gone())[1].course.machines["heron"]
    assert np.rad2deg(np.ptp(turned.heading_rad)) > 20
    run = cases.play_both(cases.base_gives_way())[1]
    base, match_s = run.course.machines["other"], run.course.clip_s - 0.3
    assert abs(float(np.interp(1.0, match_s, base.x_m)) - base.x_m[0]) < 0.001
    assert base.x_m[0] - base.x_m[-1] > 0.1


@pytest.mark.slow
def test_pull_at_the_hitch_loads_the_rear_wheels_alike() -> None:
    """The engine's own loads under its own pull, against the closed form."""
    case = cases.stall()
    _, run, _ = cases.play_both(case)
    entry, truth = case.scene.machine["heron"], run.machines["heron"]
    steady = run.course.clip_s > case.scene.clock.start_s + 1.5
    front_N = float(np.mean((truth.left.front_load_N + truth.right.front_load_N)[steady]))
    pull_N = float(run.course.tension_N[steady].mean())
    hitch = (entry.hitch_m[0], entry.hitch_m[2])
    expected_N, _ = axle_loads_N(entry.mass_kg, GRAVITY_M_S2, entry.wheelbase_m, (0.0, 0.06), hitch, pull_N)
    assert front_N == pytest.approx(float(expected_N), rel=0.01)
