"""The motion obeys its own laws, whatever integrates it."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import course as course_module
from matchvision.filming import demo_scene, frame_times, place_everything, play, truth_facts, truth_table
from matchvision.filming.course import Course
from matchvision.filming.ground import GRAVITY_M_S2
from matchvision.filming.places import Places, machine_points
from matchvision.filming.scene import Clock, Drive, Machine, Patch, Scene
from matchvision.filming.views import project

SEED = 3


@pytest.fixture(scope="module")
def scene() -> Scene:
    return demo_scene(SEED)


@pytest.fixture(scope="module")
def course(scene: Scene) -> Course:
    return play(scene)


@pytest.fixture(scope="module")
def places(scene: Scene, course: Course) -> Places:
    return place_everything(scene, course, frame_times(scene))


def test_momentum_closes(scene: Scene, course: Course) -> None:
    """Change of momentum along the heading is the impulse of grip and rope; likewise for the wheels."""
    hitches = []
    for end in scene.rope.ends:
        state = course.machines[end]
        point = np.array([scene.machine[end].hitch_m])
        hitches.append(machine_points(point, state)[:, 0])
    pull = (hitches[1] - hitches[0]) / course.span_m[:, None] * course.tension_N[:, None]
    step_s = course.clip_s[1] - course.clip_s[0]
    for name, sign in zip(scene.rope.ends, (1, -1), strict=True):
        machine, state = scene.machine[name], course.machines[name]
        along = sign * (pull[:, 0] * np.cos(state.heading_rad) + pull[:, 1] * np.sin(state.heading_rad))
        impulse = np.cumsum(state.traction_N + along) * step_s
        np.testing.assert_allclose(machine.mass_kg * state.speed_m_s, impulse, atol=1e-6)
        drive = machine.drive
        assert drive is not None
        stall = drive.motors * drive.stall_torque_Nm * drive.gear_ratio * drive.drive_efficiency
        no_load = drive.no_load_rev_min * 2 * np.pi / 60 / drive.gear_ratio
        before = np.concatenate([[0.0], state.wheel_rate_rad_s[:-1]])
        torque = state.share * stall * (1 - before / no_load)
        torque -= drive.drive_friction_Nm * np.clip(before / course_module.TURNING_RAD_S, -1, 1)
        spin = np.cumsum(torque - state.traction_N * drive.wheel_radius_m) * step_s
        np.testing.assert_allclose(drive.wheel_inertia_kg_m2 * state.wheel_rate_rad_s, spin, atol=1e-6)


def test_a_finer_clock_tells_the_same_story(scene: Scene, course: Course, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(course_module, "STEP_S", course_module.STEP_S / 2)
    finer = play(scene).at(course.clip_s)
    for name in scene.machine:
        np.testing.assert_allclose(finer.machines[name].x_m, course.machines[name].x_m, atol=4e-4)
    late = course.clip_s > scene.clock.start_s + 0.5
    assert np.sqrt(np.mean((finer.tension_N - course.tension_N)[late] ** 2)) < 0.1


def test_grip_never_exceeds_coulomb_and_reaches_it_while_sliding(scene: Scene, course: Course) -> None:
    for name, machine in scene.machine.items():
        state, drive = course.machines[name], machine.drive
        assert drive is not None
        limit = machine.grip_ratio * state.normal_N
        assert np.all(np.abs(state.traction_N) <= limit * (1 + 1e-9))
        sliding = state.wheel_rate_rad_s * drive.wheel_radius_m - state.speed_m_s > 0.03
        np.testing.assert_allclose(state.traction_N[sliding], limit[sliding], rtol=1e-9)


def test_rope_keeps_its_length(scene: Scene, places: Places) -> None:
    """Slack it has its own length; taut it spans the hitches; beads keep their share of the cord."""
    rope, link = scene.rope, scene.rope.link
    assert link is not None
    assert places.slack.any()
    assert not places.slack.all()
    np.testing.assert_allclose(places.rope_total_m[places.slack], rope.length_m, atol=1e-6)
    chord = np.linalg.norm(places.hitches[1] - places.hitches[0], axis=1)
    np.testing.assert_allclose(places.rope_total_m[~places.slack], chord[~places.slack], atol=1e-9)
    assert np.all(chord <= places.rope_total_m + 1e-9)
    taut = ~places.slack
    first = scene.beads()[0]
    strain = np.linalg.norm(places.markers[first[0]] - places.hitches[0], axis=1)[taut] / first[1]
    assert np.all((strain > 0.999) & (strain < 1.02))
    for bead, at_m, _ in scene.beads():
        if at_m > link.from_m:
            from_link = np.linalg.norm(places.markers[bead] - places.markers["link_2"], axis=1)[taut]
            np.testing.assert_allclose(from_link, strain * (at_m - link.from_m - link.rest_m), atol=1e-9)


def test_slack_rope_touches_no_lower_than_the_table(scene: Scene, places: Places) -> None:
    assert places.rope[..., 2].min() >= scene.rope.bead_radius_m - 1e-12
    lying = np.linalg.norm(np.diff(places.rope[0], axis=0), axis=1)
    assert lying.max() < 3 * lying.min()


def test_tension_obeys_the_link(scene: Scene, course: Course, places: Places) -> None:
    link = scene.rope.link
    assert link is not None
    length = np.linalg.norm(places.markers["link_2"] - places.markers["link_1"], axis=1)
    tension = course.at(places.clip_s).tension_N
    taut = ~places.slack
    expected = link.stiffness_N_per_m * (length - link.rest_m)
    np.testing.assert_allclose(tension[taut], expected[taut], atol=1e-6)
    assert np.all(tension[places.slack] == 0)
    assert tension.max() > 15


def test_steady_pull_on_a_load_is_its_friction() -> None:
    """A sled on bare table, long after the start: tension = grip × weight, and more on a rough stretch."""
    base = demo_scene(1)
    sled = Machine(
        home="-x",
        mass_kg=3.0,
        grip_ratio=0.3,
        hitch_m=(-0.13, 0.0, 0.055),
        hitch_x_m=-0.46,
        size_m=(0.26, 0.2, 0.07),
        marker=(),
    )
    puller = replace(base.machine["plover"], hitch_m=(-0.145, 0.0, 0.055), heading_offset_deg=0, wander_deg=0, y_m=0)
    assert puller.drive is not None
    puller = replace(puller, drive=replace(puller.drive, throttle=((0.0, 0.0), (0.4, 1.0))))
    rope = replace(base.rope, ends=("sled", "plover"), link=None, damping_N_s_per_m=60.0)
    for ratio in (None, 0.5):
        rough = () if ratio is None else (Patch(from_m=-2.0, to_m=2.0, grip_ratio=ratio),)
        scene = replace(
            base,
            kind="sled",
            rope=rope,
            machine={"sled": sled, "plover": puller},
            table=replace(base.table, patch=rough),
            clock=Clock(start_s=0.2, duration_s=2.0, after_s=0.0),
        )
        steady = play(scene).at(np.linspace(1.7, 2.1, 20)).tension_N
        np.testing.assert_allclose(steady, (ratio or 0.3) * 3.0 * GRAVITY_M_S2, rtol=0.005)


def test_winner_and_margin_follow_the_rope(scene: Scene, course: Course, places: Places) -> None:
    """The rope on each side, measured again between beads."""
    views = project(scene, course, places)
    end = place_everything(scene, course, np.array([scene.end_s]))
    verdict = truth_facts(scene, course, views, end)["verdict"]
    a, b = end.hitches[0][0], end.hitches[1][0]
    assert not end.slack[0]
    plus = np.linalg.norm(b - a) * b[0] / (b[0] - a[0])
    assert verdict["rope_plus_x_m"] == pytest.approx(plus, abs=1e-6)
    on_side = {"+x": plus, "-x": np.linalg.norm(b - a) - plus}
    winner = verdict["winner"]
    assert on_side[scene.machine[winner].home] == max(on_side.values())
    assert verdict["margin_mm"] == pytest.approx(1000 * (max(on_side.values()) - sum(on_side.values()) / 2), abs=1e-2)


def test_slack_rope_is_shared_out_by_its_length(scene: Scene, places: Places) -> None:
    steps = np.linalg.norm(np.diff(places.rope[0], axis=0), axis=1)
    beyond = (places.rope[0, :-1, 0] + places.rope[0, 1:, 0]) / 2 > 0
    assert places.slack[0]
    assert places.rope_plus_x_m[0] == pytest.approx(steps[beyond].sum(), abs=steps.max())


def truth(scene: Scene) -> tuple[object, object]:
    course = play(scene)
    places = place_everything(scene, course, frame_times(scene))
    views = project(scene, course, places)
    end = place_everything(scene, course, np.array([scene.end_s]))
    return truth_table(scene, course, places, views), truth_facts(scene, course, views, end)


def test_same_seed_same_truth() -> None:
    table, facts = truth(demo_scene(8))
    again, facts_again = truth(demo_scene(8))
    assert table.equals(again)  # type: ignore[attr-defined]
    assert facts == facts_again
    assert demo_scene(8) != demo_scene(9)


def mirrored(scene: Scene) -> Scene:
    """Left and right exchanged, and the machines' names with them."""
    first, second = scene.rope.ends

    def turned(machine: Machine) -> Machine:
        return replace(
            machine,
            home="+x" if machine.home == "-x" else "-x",
            hitch_x_m=-machine.hitch_x_m,
            heading_offset_deg=-machine.heading_offset_deg,
            wander_deg=-machine.wander_deg,
        )

    machines = {first: turned(scene.machine[second]), second: turned(scene.machine[first])}
    return replace(scene, machine=machines, rope=replace(scene.rope, ends=(second, first)))


def test_mirrored_scene_swaps_winner(scene: Scene) -> None:
    _, facts = truth(scene)
    _, other = truth(mirrored(scene))
    one, two = facts["verdict"], other["verdict"]  # type: ignore[index]
    assert {one["winner"], two["winner"]} == set(scene.machine)
    assert two["margin_mm"] == pytest.approx(one["margin_mm"], abs=1e-6)
    assert two["rope_mid_x_mm"] == pytest.approx(-one["rope_mid_x_mm"], abs=1e-6)


def test_half_the_drive_gone_shows_in_the_motion(scene: Scene) -> None:
    winner = truth(scene)[1]["verdict"]["winner"]  # type: ignore[index]
    drive = scene.machine[winner].drive
    assert isinstance(drive, Drive)
    weak = replace(scene.machine[winner], drive=replace(drive, loss_s=1.0, loss_ratio=0.3))
    _, facts = truth(replace(scene, machine={**scene.machine, winner: weak}))
    assert facts["events"]["power_loss"] == {winner: scene.clock.start_s + 1.0}  # type: ignore[index]
    assert facts["verdict"]["winner"] != winner  # type: ignore[index]


def test_beads_hide_behind_a_machine_and_marks_on_the_far_side(scene: Scene) -> None:
    """From behind heron and low down the near beads are hidden; from the other side no rim mark is seen."""
    low = replace(scene, camera=replace(scene.camera, position_m=(-2.0, 0.0, 0.09), look_at_m=(0.0, 0.0, 0.05)))
    course = play(low)
    places = place_everything(low, course, np.array([2.0]))
    assert not project(low, course, places).visible["bead_01"][0]
    far = replace(scene, camera=replace(scene.camera, position_m=(0.0, 1.7, 1.4), look_at_m=(0.0, 0.0, 0.0)))
    seen = project(far, course, places).visible
    assert seen["bead_01"][0]
    assert seen["heron.front"][0]
    assert not seen["heron.wheel_1"][0]
    usual = project(scene, course, places).visible
    assert all(flags[0] for flags in usual.values())


def test_driving_forward_carries_a_mark_from_up_to_forward(scene: Scene, course: Course) -> None:
    """In the machine's frame; also says that the angle counts from forward through up."""
    state = course.machines["plover"]
    moments = np.interp([0.0, 0.3], state.wheel_angle_rad[:4000], course.clip_s[:4000])
    at = place_everything(scene, course, moments)
    now = course.at(moments)
    wheel = scene.machine["plover"].wheel[0]
    for mark in wheel.rim:
        point = at.markers[f"plover.{mark.name}"] - np.stack([now.machines["plover"].x_m, [0, 0], [0, 0]], axis=-1)
        forward = (point[:, 0] - wheel.face_m[0]) / mark.circle_m
        angle = np.arctan2((point[:, 2] - wheel.face_m[2]) / mark.circle_m, forward)
        turned = (angle[0] - angle[1] + np.pi) % (2 * np.pi) - np.pi
        assert turned == pytest.approx(now.machines["plover"].wheel_angle_rad[1], abs=0.2)
        assert np.rad2deg(angle[0]) % 360 == pytest.approx(mark.angle_deg % 360, abs=12)
