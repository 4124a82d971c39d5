"""Looks at what a machine used of its grip."""

import numpy as np
import pytest

from matchvision.grip.using import GRIPS, SLIDES, look_at_use
from matchvision.grip.wheels import watch_wheels
from matchvision.records.motion import MatchClock
from matchvision.records.pull import Traction
from tests.made_motion import make_machine, make_motion, make_run, make_wheel, seconds

T_S = seconds(4.0)
N = len(T_S)
WHEEL = {"name": "front", "radius_m": 0.045, "driven": True, "face_m": (0.085, 0.118, 0.045)}
HERON = {
    "home": "+x", "mass_kg": 2.5, "driven_wheels": 4, "wheelbase_m": 0.17, "centre_of_mass_m": (0.0, 0.0, 0.05),
    "hitch": {"at_m": (-0.145, 0, 0.05)}, "wheel": (WHEEL,),
}  # fmt: skip


def test_looks_hold_grip_used_and_state() -> None:
    slips = T_S > 2.0
    run = make_run(machine={"heron": HERON, "plover": {"home": "-x"}})
    moved = make_machine("heron", N, x_m=0.05 * T_S, speed_m_s=0.05)
    surface = np.where(slips, 0.2, 0.05)
    wheel = make_wheel("heron", N, surface_speed_m_s=surface, slip_speed_m_s=surface - 0.05)
    motion = make_motion(T_S, machines=(moved,), wheels=(wheel,))
    load, used = np.full(N, 24.5), np.where(slips, 0.5, 0.7)
    u = np.full(N, 0.01)
    traction = Traction("heron", used * load, load, used, 25 * u, 10 * u, u)
    watched = watch_wheels(run, motion, np.ones(N, dtype=np.bool_))
    looks = look_at_use(run.sheet.machine["heron"], moved, watched, traction, T_S, MatchClock(0.0, 4.0))
    assert looks is not None
    assert looks.sides == ("left",)
    early, late = looks.t_s < 1.9, looks.t_s > 2.1
    assert set(looks.state[0, early]) == {GRIPS}
    assert set(looks.state[0, late]) == {SLIDES}
    assert looks.used[early] == pytest.approx(0.7)
    assert looks.used[late] == pytest.approx(0.5)
    # Front wheels stand half a wheelbase ahead, and carry less while it pulls: W/2 - T h / L for a pull of 0.7 W.
    assert looks.x_m[0, 0] - looks.x_m[0, 1] == pytest.approx(0.17)
    pulled = 0.7 * 24.5
    assert looks.share[0, early] == pytest.approx(0.5 - pulled * 0.05 / 0.17 / (2.5 * 9.80665), abs=0.003)


def test_turning_on_the_spot_is_no_look() -> None:
    other = {**WHEEL, "name": "other", "face_m": (0.085, -0.118, 0.045)}
    run = make_run(machine={"heron": {**HERON, "wheel": (WHEEL, other)}, "plover": {"home": "-x"}})
    moved = make_machine("heron", N)
    wheels = [
        make_wheel("heron", N, wheel=name, surface_speed_m_s=way * 0.1, slip_speed_m_s=way * 0.1)
        for name, way in (("front", 1.0), ("other", -1.0))
    ]
    motion = make_motion(T_S, machines=(moved,), wheels=wheels)
    one = np.ones(N)
    traction = Traction("heron", one, 20 * one, one / 20, one, one, one / 10)
    watched = watch_wheels(run, motion, np.ones(N, dtype=np.bool_))
    assert look_at_use(run.sheet.machine["heron"], moved, watched, traction, T_S, MatchClock(0.0, 4.0)) is None
