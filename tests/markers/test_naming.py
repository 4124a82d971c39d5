"""Names are given by what must hold: rigid distances, wheel circles, and order along the rope."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.geometry.camera import project_points, rays
from matchvision.markers.blobs import Blobs
from matchvision.markers.colours import Palette, expect_palette
from matchvision.markers.consistency import Bonds, doubt_bodies, doubt_rope
from matchvision.markers.naming import assign_spots, name_machines
from matchvision.markers.planning import plan_markers
from matchvision.markers.poses import Pose
from matchvision.markers.predicting import place_rim
from matchvision.markers.rope import RopeEnds, contradicts_ends, name_rope
from matchvision.records.camera import Camera
from matchvision.records.sheet import Run
from matchvision.records.tracks import MarkerPlan
from tests.truth import SAMPLE_CLIPS, read_run

FloatArray = npt.NDArray[np.float64]

CAMERA = Camera(
    1280,
    720,
    np.array(
        [985.0, 987.0, 645.0, 356.0, -0.045, 0.012, 0.0, 0.0, 0.0, 2.2787, -0.1107, 0.0362, -0.0218, -0.0116, 2.2375]
    ),
    np.zeros((15, 15)),
)
POSES = {"heron": Pose(-0.66, 0.03, np.pi + 0.05), "plover": Pose(0.67, -0.02, 0.04)}
WHEEL_RAD = {"heron": 0.7, "plover": 2.9}


@pytest.fixture(scope="module")
def run() -> Run:
    return read_run(SAMPLE_CLIPS / "flat-match")


@pytest.fixture(scope="module")
def palette(run: Run) -> Palette:
    return expect_palette(run.sheet.colour, "bt709", full_range=False)


def lay_out(run: Run, slack_m: float = 0.06) -> FloatArray:
    """Table places of all markers: machines at `POSES`, the rope between their hitches, sagging sideways."""
    plans = plan_markers(run)
    rope = run.sheet.rope
    assert rope is not None
    ends = [POSES[n].place(np.array(run.sheet.machine[n].hitch.at_m)) for n in rope.ends]  # type: ignore[union-attr]
    places = np.empty((len(plans), 3))
    for i, plan in enumerate(plans):
        if plan.kind == "bead":
            share = plan.arc_m / rope.length_m
            places[i] = ends[0] + share * (ends[1] - ends[0])
            places[i, 1] -= slack_m * np.sin(np.pi * share)
        elif plan.kind == "body":
            places[i] = POSES[plan.machine].place(np.array(plan.at_m))
        else:
            places[i] = place_rim(plan, POSES[plan.machine], WHEEL_RAD[plan.machine])
    return places


def spot(
    run: Run, palette: Palette, places: FloatArray, rng: np.random.Generator
) -> tuple[Blobs, npt.NDArray[np.int64]]:
    """The markers as spots in random order, two pixels unsure at most, and the order: spot k is marker order[k]."""
    plans = plan_markers(run)
    order = rng.permutation(len(plans))
    pixels = project_points(CAMERA.parameters, places)[order] + rng.uniform(-0.7, 0.7, (len(plans), 2))
    area = np.array([{"bead": 40.0, "body": 72.0, "rim": 34.0}[plans[i].kind] for i in order])
    colour = np.array([palette.names.index(plans[i].colour) for i in order])
    return Blobs(pixels, area, colour, palette.direction[colour] * 70, np.full(len(plans), 430.0)), order


def drop(blobs: Blobs, gone: list[int]) -> Blobs:
    keep = np.setdiff1d(np.arange(len(blobs.area_px)), gone)
    return Blobs(
        blobs.place_px[keep], blobs.area_px[keep], blobs.colour[keep], blobs.chroma[keep], blobs.scale_px_per_m[keep]
    )


def test_machines_and_rims_get_their_names(run: Run, palette: Palette) -> None:
    plans = plan_markers(run)
    for seed in range(5):
        blobs, order = spot(run, palette, lay_out(run), np.random.default_rng(seed))
        named = name_machines(plans, blobs, palette, CAMERA, run.sheet)
        assert set(named) == {"heron", "plover"}
        for name, machine in named.items():
            own = [i for i, p in enumerate(plans) if p.machine == name]
            assert {i: order[k] for i, k in machine.spots.items()} == {i: i for i in own}
            assert machine.pose.x_m == pytest.approx(POSES[name].x_m, abs=0.005)
            turned = machine.wheel_angle_rad["front, camera side"] - WHEEL_RAD[name]
            assert abs(np.angle(np.exp(1j * turned))) < 0.15


def test_machines_in_equal_colours_are_told_apart_by_their_homes(run: Run, palette: Palette) -> None:
    plans = [
        replace(p, colour={"front": "green", "rear": "magenta"}.get(p.name.split(".")[-1], p.colour))
        for p in plan_markers(run)
    ]
    blobs, order = spot(run, palette, lay_out(run), np.random.default_rng(3))
    colour = np.array([palette.names.index(plans[i].colour) for i in order])
    blobs = replace(blobs, colour=colour)
    named = name_machines(plans, blobs, palette, CAMERA, run.sheet)
    for name, machine in named.items():
        assert all(plans[order[k]].machine == name for k in machine.spots.values())
    assert len(named) == 2


def test_a_pair_at_the_wrong_distance_is_no_machine(run: Run, palette: Palette) -> None:
    plans = plan_markers(run)
    places = lay_out(run)
    front = next(i for i, p in enumerate(plans) if p.name == "heron.front")
    places[front, 0] += 0.06
    blobs, _ = spot(run, palette, places, np.random.default_rng(1))
    assert set(name_machines(plans, blobs, palette, CAMERA, run.sheet)) == {"plover"}


def ends_of(run: Run, known: tuple[bool, bool] = (True, True)) -> RopeEnds:
    places = [POSES[n].place(np.array(run.sheet.machine[n].hitch.at_m)) for n in ("heron", "plover")]  # type: ignore[union-attr]
    return RopeEnds(places[0] if known[0] else None, places[1] if known[1] else None, 1.09, towards=1.0)


@pytest.mark.parametrize("known", [(True, True), (True, False), (False, True), (False, False)])
@pytest.mark.parametrize("slack_m", [0.0, 0.1])
def test_beads_get_their_names_by_order_and_colour(
    run: Run, palette: Palette, known: tuple[bool, bool], slack_m: float
) -> None:
    plans = plan_markers(run)
    beads = [i for i, p in enumerate(plans) if p.kind == "bead"]
    blobs, order = spot(run, palette, lay_out(run, slack_m), np.random.default_rng(4))
    named = name_rope(plans, beads, blobs, palette, CAMERA, ends_of(run, known), taken=set())
    assert {i: order[k] for i, k in named.items()} == {i: i for i in beads}


@pytest.mark.parametrize("hidden", [[0], [13], [5, 6], [0, 1], [12, 13], [3, 4, 5, 6, 7]])
def test_hidden_beads_do_not_shift_the_names_of_others(run: Run, palette: Palette, hidden: list[int]) -> None:
    plans = plan_markers(run)
    beads = [i for i, p in enumerate(plans) if p.kind == "bead"]
    blobs, order = spot(run, palette, lay_out(run), np.random.default_rng(5))
    gone = [k for k in range(len(order)) if order[k] in hidden]
    kept = [k for k in range(len(order)) if k not in gone]
    named = name_rope(plans, beads, drop(blobs, gone), palette, CAMERA, ends_of(run), taken=set())
    assert {i: order[kept[k]] for i, k in named.items()} == {i: i for i in beads if i not in hidden}


def test_names_shifted_along_the_rope_contradict_the_hitches(run: Run) -> None:
    plans = plan_markers(run)
    beads = [i for i, p in enumerate(plans) if p.kind == "bead"]
    places = lay_out(run)
    assert not contradicts_ends(plans, beads, places, ends_of(run))
    for shift in (2, -2):
        shifted = np.full_like(places, np.nan)
        for i in beads:
            if i + shift in beads:
                shifted[i] = places[i + shift]
        assert contradicts_ends(plans, beads, shifted, ends_of(run))


def test_a_bead_that_jumped_too_far_is_doubted(run: Run) -> None:
    plans = plan_markers(run)
    beads = [i for i, p in enumerate(plans) if p.kind == "bead"]
    places, jump = lay_out(run), np.full(len(plans), 0.5)
    assert doubt_rope(Bonds(plans), beads, places, jump) == []
    places[6], jump[6] = places[8], 40.0
    assert doubt_rope(Bonds(plans), beads, places, jump) == [6]


def test_a_link_drawn_out_little_by_little_is_believed() -> None:
    """To 2.2 of its length at rest: in its markers' small windows it was drawn, at one jump another thing was taken."""
    plans = [MarkerPlan(f"link_{k}", "link", "orange", 0.009, arc_m=at) for k, at in enumerate((0.24, 0.30))]
    places = np.array([[0.0, 0.0, 0.05], [0.132, 0.0, 0.05]])
    assert doubt_rope(Bonds(plans), [0, 1], places, np.array([0.5, 2.0])) == []
    assert doubt_rope(Bonds(plans), [0, 1], places, np.array([0.5, 30.0])) == [1]


def test_bodies_off_their_rigid_distance_are_doubted(run: Run) -> None:
    plans = plan_markers(run)
    bodies = [i for i, p in enumerate(plans) if p.machine == "heron" and p.kind == "body"]
    places, jump = lay_out(run), np.full(len(plans), 0.5)
    assert doubt_bodies(Bonds(plans), bodies, places, jump) == []
    places[bodies[1], 1] += 0.15
    jump[bodies[1]] = 30.0
    assert doubt_bodies(Bonds(plans), bodies, places, jump) == [bodies[1]]


def test_spots_are_assigned_for_all_markers_together() -> None:
    """Nearest first would give the left marker the spot between both, and leave the right one without."""
    expected = {0: np.array([0.0, 0.0, 0.12]), 1: np.array([0.014, 0.0, 0.12])}
    spots = {i: {7: np.array([0.006, 0.0, 0.12]), 8: np.array([-0.007, 0.0, 0.12])} for i in expected}
    named, misfit = assign_spots(expected, spots, CAMERA)
    assert named == {0: 8, 1: 7}
    assert 0 < misfit < 4
    far = {i: {7: np.array([0.2, 0.1, 0.12])} for i in expected}
    named, misfit = assign_spots(expected, far, CAMERA)
    assert named == {}
    assert misfit == pytest.approx(16.0)


def test_spots_along_the_line_of_sight_are_given_more_room() -> None:
    """Seen obliquely, a pixel reaches further towards the camera than across."""
    place = np.array([0.0, 0.3, 0.12])
    _, direction = rays(CAMERA.parameters, project_points(CAMERA.parameters, place))
    towards = direction[:2] / np.hypot(*direction[:2])
    across = np.array([-towards[1], towards[0]])
    cost = [
        assign_spots({0: place}, {0: {3: place + np.array([*(0.012 * way), 0.0])}}, CAMERA)[1]
        for way in (towards, across)
    ]
    assert cost[0] < cost[1]


def test_wheels_in_equal_colours_keep_to_their_own_machines_side_by_side(run: Run, palette: Palette) -> None:
    """Both machines wear the same rim colours and pass each other closely: no mark goes to the other's wheel."""
    plans = plan_markers(run)
    alike = [
        replace(p, colour={"wheel_1": "red", "wheel_2": "cyan"}.get(p.name.split(".")[-1], p.colour)) for p in plans
    ]
    for apart_m in (0.30, 0.26, 0.24):
        poses = {"heron": Pose(-0.05, 0.03, np.pi + 0.05), "plover": Pose(0.05, 0.03 - apart_m, 0.04)}
        places = np.array(
            [
                place_rim(p, poses[p.machine], WHEEL_RAD[p.machine])
                if p.kind == "rim"
                else poses[p.machine].place(np.array(p.at_m))
                if p.machine
                else np.array([0.0, -0.5, 0.05])
                for p in alike
            ]
        )
        own = [i for i, p in enumerate(alike) if p.machine]
        blobs, order = spot(run, palette, places, np.random.default_rng(2))
        colour = np.array([palette.names.index(alike[i].colour) for i in order])
        gone = [k for k in range(len(order)) if order[k] not in own]
        kept = [k for k in range(len(order)) if k not in gone]
        named = name_machines(alike, drop(replace(blobs, colour=colour), gone), palette, CAMERA, run.sheet)
        for machine in named.values():
            for i, k in machine.spots.items():
                assert order[kept[k]] == i


@pytest.mark.parametrize("count", [3, 8, 14])
@pytest.mark.parametrize("slack_m", [0.0, 0.06])
def test_beads_of_one_colour_are_named_by_their_order(run: Run, palette: Palette, count: int, slack_m: float) -> None:
    plans = [replace(p, colour="red") if p.kind == "bead" else p for p in plan_markers(run)]
    beads = [i for i, p in enumerate(plans) if p.kind == "bead"]
    used = beads[:count] if count < len(beads) else beads
    blobs, order = spot(run, palette, lay_out(run, slack_m), np.random.default_rng(6))
    colour = np.array([palette.names.index(plans[i].colour) for i in order])
    gone = [k for k in range(len(order)) if order[k] in beads and order[k] not in used]
    kept = [k for k in range(len(order)) if k not in gone]
    rims = {kept.index(k) for k in kept if plans[order[k]].kind != "bead"}
    named = name_rope(plans, used, drop(replace(blobs, colour=colour), gone), palette, CAMERA, ends_of(run), taken=rims)
    assert {i: order[kept[k]] for i, k in named.items()} == {i: i for i in used}
