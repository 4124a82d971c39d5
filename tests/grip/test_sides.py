"""Each side's use of its grip where one side's wheel is seen."""

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.grip.drive import MotorLine
from matchvision.grip.mapping import map_grip
from matchvision.grip.sides import tell_sides_apart
from matchvision.grip.using import GRIPS, LOOK_S, SLIDES, GripUse
from matchvision.grip.wheels import watch_wheels
from matchvision.motion import measure_motion
from matchvision.pull import measure_pull
from matchvision.records.gripmap import GripMap
from matchvision.records.motion import MatchClock
from matchvision.records.pull import Traction
from tests.engine.extras import Extras, Ground
from tests.engine.playing import play_in_engine
from tests.filmed_points import film_points
from tests.grip.stories import short_match
from tests.made_motion import make_machine, make_wheel, seconds

T_S = seconds(4.0)
N = len(T_S)
RADIUS = 0.045
LOAD_N = 26.0
LINE = MotorLine(1.6, 5.0, 0.09, 0.0, False, 0.0, np.ones(N), True, "measured")


def side_force(rate: FloatArray | float) -> FloatArray | float:
    """Force of one side by the line above."""
    return (0.8 * (1 - rate / 5.0) - 0.045) / RADIUS


def looks(other_N: FloatArray, scale: float = 1.0) -> GripUse:
    """The seen side grips all along at 2 rad/s, the other brings what is given; the whole is ``scale`` times that."""
    wheel = make_wheel("heron", N, surface_speed_m_s=2.0 * RADIUS, rate_rad_s=2.0)
    moved = make_machine("heron", N, x_m=2.0 * RADIUS * T_S, speed_m_s=2.0 * RADIUS)
    force = scale * (side_force(2.0) + other_N)
    load = np.full(N, LOAD_N)
    u = np.full(N, 0.005)
    traction = Traction("heron", force, load, force / load, u * load, 0 * load, u)
    t = np.arange(LOOK_S / 2, 4.0, LOOK_S)
    k = len(t)
    use = GripUse(
        "heron", ("left",), t, np.interp(t, T_S, force / load), np.full(k, 0.005), np.full((1, k), GRIPS),
        np.zeros((1, 2, k)), np.full((1, 2, k), 0.1), np.full(k, 0.005), np.full((2, k), 0.5), np.ones((1, 2, k)),
    )  # fmt: skip
    return tell_sides_apart(use, wheel, moved, traction, LINE, 0.11, T_S, MatchClock(0.0, 4.0))


@pytest.mark.parametrize("scale", [1.0, 0.85])
def test_other_side_is_told_by_the_drive(scale: float) -> None:
    """From 2.5 s on the other side brings 4 N instead of 9.7: it slides, whatever constant error the line has."""
    other = np.where(T_S > 2.5, 4.0, side_force(2.0))
    use = looks(np.asarray(other), scale)
    assert use.sides == ("left", "right")
    late, early = use.t_s > 2.65, use.t_s < 2.4
    assert use.own[0] == pytest.approx(scale * side_force(2.0) / (LOAD_N / 2), abs=0.02)
    assert use.own[1, late] == pytest.approx(scale * 4.0 / (LOAD_N / 2), abs=0.04)
    assert set(use.state[1, late]) == {SLIDES}
    assert set(use.state[1, early]) == {GRIPS}
    # Its wheels run along the other side, 0.22 m to the right.
    assert use.y_m[1] == pytest.approx(use.y_m[0] - 0.22)


def test_drive_that_does_not_follow_its_line_tells_nothing() -> None:
    """The operator gave and took while the log says full drive all along."""
    use = looks(np.asarray(side_force(2.0) + 4.0 * np.sin(6 * T_S)))
    assert use.sides == ("left",)
    assert not use.apart


def engine_map(extras: Extras, seed: int) -> tuple[GripMap, str]:
    scene = short_match(seed, 4.0)
    filmed = film_points(scene, np.random.default_rng(seed), course=play_in_engine(scene, extras).course)
    clock = MatchClock(scene.clock.start_s, scene.clock.duration_s)
    motion, _ = measure_motion(filmed.run, filmed.tracks, filmed.cameras)
    pull, _ = measure_pull(filmed.run, motion, clock)
    match_s = clock.match_time(motion.clip_s)
    watched = watch_wheels(filmed.run, motion, (match_s > -0.5) & (match_s < clock.duration_s + 0.5))
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    return next(m for m in map_grip(filmed.run, motion, pull, clock, watched) if m.machine == strong), strong


@pytest.mark.slow
def test_engine_run_with_a_slippery_side_that_nobody_sees() -> None:
    """From 1.8 s on the right side of heron, which drives towards -x and shows its left, stands on a grip of 0.3."""
    ground = Ground(0.3, from_y_m=short_match(2).machine["heron"].y_m, from_s=1.8)
    one, strong = engine_map(Extras(ground=(ground,)), seed=2)
    assert strong == "heron"
    assert one.sides == ("left", "right")
    chances = {way: sum(t.probability for t in one.tales if t.side == way) for way in ("left", "right", "both")}
    assert chances["right"] > 0.9
    best = one.tales[0]
    assert best.kind in {"time", "matter"}
    assert best.from_s == pytest.approx(1.8, abs=0.25)
