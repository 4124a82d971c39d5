"""On a ridge: machines stand on the slopes, weight pulls downhill, taut rope bends over the crest."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

import matchvision.filming
from matchvision.filming import frame_times, place_everything, play, project, read_scene, truth_facts, truth_table
from matchvision.filming.course import Course
from matchvision.filming.ground import GRAVITY_M_S2, axes, footing_of, kinks_of, surface_m, taut_corners, taut_curves
from matchvision.filming.places import Places, machine_points
from matchvision.filming.scene import Clock, Machine, Scene

EXAMPLE = Path(matchvision.filming.__file__).parent / "scenes" / "match-over-ridge.toml"


@pytest.fixture(scope="module")
def scene() -> Scene:
    return read_scene(EXAMPLE)


@pytest.fixture(scope="module")
def course(scene: Scene) -> Course:
    return play(scene)


@pytest.fixture(scope="module")
def places(scene: Scene, course: Course) -> Places:
    return place_everything(scene, course, frame_times(scene))


def test_both_axles_stand_on_the_surface(scene: Scene) -> None:
    machine = scene.machine["gull"]
    footing = footing_of(machine, scene.table)
    assert footing is not None
    half = machine.wheelbase_m / 2
    for x in (-0.7, -0.05, 0.0, 0.021, 0.4):
        z, tilt, _ = footing.at(x)
        for end in (-half, half):
            assert z + end * math.sin(tilt) == pytest.approx(
                float(surface_m(scene.table, np.array([x + end * math.cos(tilt)]))[0]), abs=2e-6
            )
    assert footing.at(-0.7)[1] == pytest.approx(math.atan(0.1261 / 1.2), abs=1e-9)
    assert footing.at(0.0)[1] == pytest.approx(0, abs=1e-9)


def test_no_crest_reaches_into_a_load(scene: Scene) -> None:
    sled = replace(scene.machine["gull"], drive=None, wheel=())
    footing = footing_of(sled, scene.table)
    assert footing is not None
    for x in np.linspace(-0.2, 0.2, 41):
        z, tilt, _ = footing.at(x)
        under = np.linspace(-0.14, 0.14, 57)
        gap = z + under * math.sin(tilt) - surface_m(scene.table, x + under * math.cos(tilt))
        assert gap.min() == pytest.approx(0, abs=2e-4)


def test_axes_are_a_rotation() -> None:
    turn = axes(np.array([0.1, 3.1]), np.array([0.1, -0.2]))
    np.testing.assert_allclose(turn.swapaxes(1, 2) @ turn, np.tile(np.eye(3), (2, 1, 1)), atol=1e-15)
    np.testing.assert_allclose(np.linalg.det(turn), 1)
    np.testing.assert_allclose(turn[0, :, 0], [math.cos(0.1) ** 2, math.sin(0.1), math.cos(0.1) * math.sin(0.1)])


def test_taut_rope_takes_the_shortest_way() -> None:
    """Against a search for the shortest way over the crest; straight where the crest is not in the way."""
    generator = np.random.default_rng(2)
    for _ in range(20):
        a = tuple(generator.uniform([-0.6, -0.1, -0.05], [-0.2, 0.1, 0.0]))
        b = tuple(generator.uniform([0.2, -0.1, -0.05], [0.6, 0.1, 0.0]))
        if generator.random() < 0.5:
            a, b = b, a
        corners = taut_corners(a, b, [(0.0, 0.009)])
        assert len(corners) == 3

        def length(y: float, a: tuple[float, ...] = a, b: tuple[float, ...] = b) -> float:
            return math.dist(a, (0.0, y, 0.009)) + math.dist((0.0, y, 0.009), b)

        found = minimize_scalar(length, bounds=(-0.2, 0.2), method="bounded", options={"xatol": 1e-10})
        assert length(corners[1][1]) <= found.fun + 1e-12
    high = ((-0.4, 0.0, 0.05), (0.4, 0.02, 0.05))
    assert taut_corners(*high, [(0.0, 0.009)]) == list(high)
    two = taut_corners((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0), [(-0.3, 0.1), (0.0, 0.05), (0.3, 0.1)])
    assert [c[0] for c in two] == [-1.0, -0.3, 0.3, 1.0]
    curve = taut_curves(np.array([two[0]]), np.array([two[-1]]), [(-0.3, 0.1), (0.3, 0.1)], 50)[0]
    steps = np.linalg.norm(np.diff(curve, axis=0), axis=1)
    assert steps.sum() == pytest.approx(2 * math.hypot(0.7, 0.1) + 0.6, abs=1e-12)


def test_a_load_slides_downhill_as_galileo_says() -> None:
    """Acceleration g (sin a - mu cos a) on a slope; a rope so long that it stays slack."""
    base = read_scene(EXAMPLE)
    sled = Machine(
        home="-x", mass_kg=2.0, grip_ratio=0.03, hitch_m=(-0.1, 0.0, 0.05), hitch_x_m=-0.3, size_m=(0.2, 0.2, 0.06),
        marker=(),
    )  # fmt: skip
    scene = replace(
        base, kind="sled", machine={"gull": sled, "heron": base.machine["heron"]},
        rope=replace(base.rope, length_m=1.6), clock=Clock(start_s=0.2, duration_s=0.9, after_s=0.0),
    )  # fmt: skip
    state = play(scene).machines["gull"]
    angle = math.atan(0.1261 / 1.2)
    gain = GRAVITY_M_S2 * (math.sin(angle) - 0.03 * math.cos(angle))
    k = round(0.8 / 0.0005)
    assert state.speed_m_s[round(0.15 / 0.0005)] == 0
    assert state.speed_m_s[k] == pytest.approx(gain * 0.6, rel=0.004)
    assert state.x_m[0] - state.x_m[k] == pytest.approx(gain * 0.6**2 / 2 * math.cos(angle), rel=0.01)


def test_momentum_closes_on_the_slopes(scene: Scene, course: Course) -> None:
    """Change of momentum along the path is the impulse of grip, rope and weight, all worked out again."""
    hitches = [machine_points(np.array([scene.machine[e].hitch_m]), course.machines[e])[:, 0] for e in scene.rope.ends]
    kinks = kinks_of(scene.table, scene.rope.bead_radius_m)
    curves = taut_curves(hitches[0][::40], hitches[1][::40], kinks, 241)
    bent = np.abs(np.linalg.norm(np.diff(curves, axis=1), axis=2).sum(axis=1) - course.span_m[::40])
    assert bent.max() < 1e-9
    detour = course.span_m - np.linalg.norm(hitches[1] - hitches[0], axis=1)
    assert detour[0] > 1e-4  # over the crest
    assert abs(detour[-1]) < 1e-12  # heron is so near it that the rope clears it
    for name, curve, sign in zip(scene.rope.ends, curves.swapaxes(0, 1)[[1, -2]], (1, -1), strict=True):
        state = course.machines[name]
        hitch = hitches[0 if sign > 0 else 1][::40]
        pull = (curve - hitch) / np.linalg.norm(curve - hitch, axis=1)[:, None]
        along_x = np.cos(state.heading_rad) / np.hypot(1, state.climb)
        path = np.stack([along_x, np.sin(state.heading_rad), along_x * state.climb], axis=-1)
        along = course.tension_N[::40] * (pull * path[::40]).sum(axis=1)
        force = state.traction_N[::40] + along - scene.machine[name].mass_kg * GRAVITY_M_S2 * path[::40, 2]
        gained = scene.machine[name].mass_kg * np.diff(state.speed_m_s[::40]) / 0.02
        late = course.clip_s[::40][1:] > 3.0
        assert np.mean((gained - (force[1:] + force[:-1]) / 2)[late]) == pytest.approx(0, abs=0.02)


def test_truth_on_the_slopes_fits_together(scene: Scene, course: Course, places: Places) -> None:
    views = project(scene, course, places)
    table = truth_table(scene, course, places, views)
    slope = 0.1261 / 1.2
    for name, sign in (("gull", 1), ("heron", -1)):
        np.testing.assert_allclose(table[f"{name}_pos_z"], sign * slope * table[f"{name}_pos_x"], atol=1e-9)
        ahead = np.stack([table[f"{name}_front_{a}"] - table[f"{name}_rear_{a}"] for a in "xyz"]) / 0.18
        np.testing.assert_allclose(np.sin(np.deg2rad(table[f"{name}_pitch_deg"])), ahead[2], atol=1e-9)
        np.testing.assert_allclose(table[f"{name}_pitch_deg"], -6.0, atol=0.01)  # home lies downhill on both sides
        yaw = np.rad2deg(np.arctan2(ahead[1], ahead[0]))
        np.testing.assert_allclose((table[f"{name}_heading_deg"] - yaw + 180) % 360, 180, atol=1e-9)
        speed = np.sqrt(sum(table[f"{name}_v{a}"] ** 2 for a in "xyz"))
        np.testing.assert_allclose(speed, np.abs(table[f"{name}_v_drive"]), atol=1e-12)
        for axis in "xyz":
            moved = np.gradient(table[f"{name}_pos_{axis}"], table["pts_s"])
            assert np.sqrt(np.mean((moved - table[f"{name}_v{axis}"]) ** 2)) < 0.002
    taut = table["rope_taut"] == 1
    assert taut.sum() > 200
    plus = np.linalg.norm(places.hitches[1] - [0, 0, 0.009], axis=1)  # almost square over the crest
    np.testing.assert_allclose(table["rope_plus_x_m"][taut], plus[taut], atol=1e-3)
    away = np.abs(table["pts_s"] - scene.hand[0].from_s - 0.3) > 0.7
    assert all(flags[away].all() for flags in views.visible.values())


def test_the_example_does_what_its_story_says(scene: Scene, course: Course, places: Places) -> None:
    views = project(scene, course, places)
    facts = truth_facts(scene, course, views, place_everything(scene, course, np.array([scene.end_s])))
    assert facts["verdict"]["winner"] == "gull"
    assert facts["profile_m"] == [list(p) for p in scene.table.profile_m]
    assert course.machines["heron"].x_m[-1] < course.machines["heron"].x_m[0] - 0.1
    assert places.rope[..., 2].min() > -0.12
    above = places.rope[..., 2] - surface_m(scene.table, places.rope[..., 0])
    assert above.min() > scene.rope.bead_radius_m - 1e-9


def test_a_machine_drawn_over_the_crest_keeps_its_speed_and_shape(scene: Scene) -> None:
    """Pulled right over: the truth's velocities are the places' own rates, and the discs keep their distance."""
    weak = replace(scene.machine["heron"], grip_ratio=0.25, hitch_x_m=0.2)
    near = replace(scene.machine["gull"], hitch_x_m=-0.78)
    crossing = replace(scene, machine={"gull": near, "heron": weak}, clock=Clock(0.1, 4.0, 0.0))
    course = play(crossing)
    places = place_everything(crossing, course, frame_times(crossing))
    state = course.machines["heron"]
    assert state.x_m[0] > 0.2
    assert state.x_m[-1] < 0
    tilt = np.rad2deg(state.tilt_rad)
    assert tilt[0] == pytest.approx(-6, abs=0.01)
    assert tilt.max() > 0
    apart = np.linalg.norm(places.markers["heron.front"] - places.markers["heron.rear"], axis=1)
    np.testing.assert_allclose(apart, 0.18, atol=1e-6)
    table = truth_table(crossing, course, places, project(crossing, course, places))
    rate = np.gradient(np.array([table[f"heron_pos_{a}"] for a in "xyz"]), table["pts_s"], axis=1)
    told = np.array([table[f"heron_v{a}"] for a in "xyz"])
    assert np.abs(rate - told)[:, 60:].max() < 0.01
