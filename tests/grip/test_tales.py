"""What lost grip belongs to: a place, the time since, one side, something that came onto a place, or nothing."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.grip.events import add_belonging
from matchvision.grip.mapping import belonging, cells_of, map_grip, state_grip
from matchvision.grip.tales import weigh_tales
from matchvision.grip.using import GRIPS, SLIDES, GripUse
from matchvision.grip.wheels import watch_wheels
from matchvision.motion import measure_motion
from matchvision.pull import measure_pull
from matchvision.records.events import Event
from matchvision.records.gripmap import GripMap
from matchvision.records.motion import MatchClock
from tests.engine.extras import Extras, Ground
from tests.engine.playing import play_in_engine
from tests.filmed_points import film_points
from tests.grip.stories import short_match

T_S = np.arange(0.05, 8.0, 0.1)
FRONT = 0.35
Grip = Callable[[FloatArray, FloatArray], FloatArray]


def use_of(left: Grip, right: Grip | None = None, seed: int = 1, wander: float = 0.01) -> GripUse:
    """Out by 0.4 m and back in 8 s, at full drive from 1 s on; one side watched, or both; grip by place and time."""
    draw = np.random.default_rng(seed)
    ahead = 0.4 * np.minimum(T_S / 4, 2 - T_S / 4)
    x = np.stack([ahead + 0.085, ahead - 0.085])
    asked = np.where(T_S < 1.0, 0.3, 0.72)
    sides = [left] if right is None else [left, right]
    has = np.array([FRONT * grip(x[0], T_S) + (1 - FRONT) * grip(x[1], T_S) for grip in sides])
    state = np.where(has < asked, SLIDES, GRIPS)
    used = np.minimum(has, asked).mean(axis=0) * (1 + wander * draw.standard_normal(len(T_S)))
    share = np.stack([np.full(len(T_S), FRONT), np.full(len(T_S), 1 - FRONT)])
    names = ("left",) if right is None else ("left", "right")
    places = np.stack([x] * len(sides))
    return GripUse(
        "heron", names, T_S, used, np.full(len(T_S), 0.01), state, places, np.zeros(places.shape),
        np.full(len(T_S), 0.005), share, np.ones(places.shape),
    )  # fmt: skip


def even(x: FloatArray, t: FloatArray) -> FloatArray:
    return np.full(np.broadcast(x, t).shape, 0.78)


def stripe(x: FloatArray, t: FloatArray) -> FloatArray:
    return np.where((x > 0.15) & (x < 0.25), 0.3, even(x, t))


def worn(x: FloatArray, t: FloatArray) -> FloatArray:
    return np.where(t > 5.0, 0.42, even(x, t))


def dropped(x: FloatArray, t: FloatArray) -> FloatArray:
    return np.where((t > 3.5) & (x > 0.15) & (x < 0.30), 0.2, even(x, t))


@pytest.mark.parametrize(
    ("grip", "kind"), [(stripe, "place"), (worn, "time"), (dropped, "matter"), (lambda x, t: 0.9 * even(x, t), "even")]
)
def test_place_time_and_matter_are_told_apart(grip: Grip, kind: str) -> None:
    best = weigh_tales(use_of(grip))[0]
    assert best.kind == kind
    assert best.probability > 0.9
    if kind in {"place", "matter"}:
        assert best.from_x_m == pytest.approx(0.15, abs=0.02)
        assert best.to_x_m == pytest.approx(0.25 if kind == "place" else 0.30, abs=0.02)
    if kind in {"time", "matter"}:
        assert best.from_s == pytest.approx(5.0 if kind == "time" else 3.5, abs=0.5)
    if kind != "even":
        less = {"time": 0.42, "place": 0.3, "matter": 0.2}[kind]
        assert abs(best.less_grip_ratio - less) < 3 * best.u_less_grip_ratio
        assert best.u_less_grip_ratio < 0.05


def test_one_side_is_told_from_both() -> None:
    use = use_of(stripe, even)
    tales = weigh_tales(use)
    one = tales[0]
    assert (one.kind, one.side) == ("place", "left")
    # It gripped there only while little was asked: something may have come there after that.
    assert sum(t.probability for t in tales if t.side == "left") > 0.95
    assert sum(t.probability for t in tales if t.kind == "matter") < 0.5
    both = weigh_tales(use_of(stripe, stripe))[0]
    assert (both.kind, both.side) == ("place", "both")
    assert "under its left side" in state_grip(use, tales)


def test_a_stripe_from_which_it_never_comes_away_is_not_told_from_time() -> None:
    """It slides for good from 0.2 m on: whether the place or the time did that, nobody can say."""
    use = use_of(lambda x, t: np.where(x > 0.2, 0.4, even(x, t)))
    held = use.t_s < 3.0
    cut = GripUse(
        use.machine, use.sides, use.t_s[held], use.used[held], use.u_used[held], use.state[:, held],
        use.x_m[..., held], use.y_m[..., held], use.blur_m[held], use.share[:, held], use.along[..., held],
    )  # fmt: skip
    # Both axles at one place: no half-way grip tells the place.
    point = replace(cut, x_m=np.repeat(cut.x_m.mean(axis=1, keepdims=True), 2, axis=1))
    state = np.where(point.x_m[:, 0] > 0.2, SLIDES, GRIPS)
    slid = 0.4 * (1 + 0.01 * np.random.default_rng(3).standard_normal(state.shape[1]))
    used = np.where(state[0] == SLIDES, slid, np.minimum(point.used, 0.72))
    tales = weigh_tales(replace(point, state=state, used=used))
    chances = {(t.kind, t.side): t.probability for t in tales}
    assert max(chances.values()) < 0.9
    assert chances["place", "both"] > 0.05
    assert chances["time", "both"] > 0.05
    assert "cannot be told" in state_grip(point, tales)
    assert "No wheel came over that stretch's far edge and gripped again" in state_grip(point, tales)


def test_wheels_that_stay_at_one_place_tell_nothing_of_places() -> None:
    use = use_of(worn)
    tales = weigh_tales(replace(use, x_m=np.zeros_like(use.x_m)))
    assert {t.kind for t in tales} == {"even", "other", "time"}
    assert tales[0].kind == "time"


def test_no_slide_gives_no_tale_and_the_map_says_at_least() -> None:
    use = use_of(lambda x, t: 1.2 * even(x, t))
    assert not weigh_tales(use)
    assert "never slid" in state_grip(use, [])
    assert {cell.grip_kind for cell in cells_of(use)} == {"at least"}


def test_cells_hold_what_was_used() -> None:
    cells = cells_of(use_of(worn))
    late = [c for c in cells if c.from_s >= 5.5 and c.grip_kind == "available"]
    assert late
    assert all(abs(c.grip_ratio - 0.42) < 3 * c.u_grip_ratio for c in late)
    assert sum(c.data_s for c in cells) == pytest.approx(8.0, abs=0.11)


def engine_maps(extras: Extras, seed: int) -> tuple[list[GripMap], str]:
    """Maps of a short match in the physics engine, seen as noisy points; and the stronger machine."""
    scene = short_match(seed, 4.0)
    filmed = film_points(scene, np.random.default_rng(seed), course=play_in_engine(scene, extras).course)
    clock = MatchClock(scene.clock.start_s, scene.clock.duration_s)
    motion, _ = measure_motion(filmed.run, filmed.tracks, filmed.cameras)
    pull, _ = measure_pull(filmed.run, motion, clock)
    match_s = clock.match_time(motion.clip_s)
    watched = watch_wheels(filmed.run, motion, (match_s > -0.5) & (match_s < clock.duration_s + 0.5))
    strong = max(scene.machine, key=lambda name: scene.machine[name].mass_kg)
    return map_grip(filmed.run, motion, pull, clock, watched), strong


@pytest.mark.slow
def test_engine_run_with_matter_dropped_and_one_with_a_worn_tread() -> None:
    maps, strong = engine_maps(Extras(ground=(Ground(0.35, -0.695, -0.305, from_s=2.0),)), seed=2)
    best = {one.machine: one for one in maps}[strong].tales[0]
    assert best.kind == "matter"
    assert best.probability > 0.9
    assert best.from_x_m == pytest.approx(-0.695, abs=0.01)
    assert best.from_s == pytest.approx(2.0, abs=0.2)
    assert best.less_grip_ratio == pytest.approx(0.35, abs=0.02)
    weak = next(one for one in maps if one.machine != strong).tales[0]
    assert weak.kind == "even"
    assert weak.grip_ratio == pytest.approx(short_match(2).machine["plover"].grip_ratio, abs=0.03)

    maps, strong = engine_maps(
        Extras(grip_factor={"plover": ((0.0, 1.0), (2.0, 1.0), (2.02, 0.5), (9.0, 0.5))}), seed=1
    )
    assert strong == "plover"
    best = {one.machine: one for one in maps}[strong].tales[0]
    assert best.kind == "time"
    assert best.probability > 0.9
    assert best.from_s == pytest.approx(2.0, abs=0.2)
    assert best.less_grip_ratio == pytest.approx(0.5 * short_match(1).machine["plover"].grip_ratio, abs=0.02)


def test_first_slide_says_what_lost_grip_belongs_to() -> None:
    use = use_of(stripe)
    tales = tuple(weigh_tales(use))
    one = GripMap("heron", use.sides, (), tales, state_grip(use, tales))
    slides = [Event("slip", "heron", t, t + 0.5, 0.01, 1.0, "It slid.") for t in (1.0, 3.0)]
    first, second = add_belonging(slides, [one])
    assert "less grip at one place" in first.evidence
    assert second.evidence == "It slid."
    even_tales = tuple(weigh_tales(use_of(lambda x, t: 0.9 * even(x, t))))
    assert not belonging(even_tales)
