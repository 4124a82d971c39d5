"""Machines lifted at one end: pitch, place, heading and wheels stay right while markers leave their heights."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.filming import Scene, demo_scene
from matchvision.filming.scene import Disc
from matchvision.geometry.camera import project_points
from matchvision.motion import measure_motion
from matchvision.records.motion import MachineMotion
from matchvision.records.tracks import TrackState
from tests.filmed_points import FilmedPoints, film_points
from tests.truth import SAMPLE_CLIPS, read_run, true_cameras, true_tracks

FloatArray = npt.NDArray[np.float64]

#: Nose up by 10°, later the tail by 4°.
LIFT = ((1.0, 0.0), (1.2, 10.0), (2.0, 10.0), (2.3, 0.0), (3.0, 0.0), (3.1, -4.0), (3.5, -4.0), (3.6, 0.0))
SIDE = Disc(name="side", colour="cyan", radius_m=0.014, at_m=(0.0, -0.085, 0.12))


def lifted_scene(seed: int, *, third: bool, rims: bool = True) -> Scene:
    scene = demo_scene(seed)
    heron = scene.machine["heron"]
    heron = replace(
        heron,
        lift=LIFT,
        marker=(*heron.marker, SIDE) if third else heron.marker,
        wheel=heron.wheel if rims else (),
    )
    return replace(scene, machine={**scene.machine, "heron": heron})


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


def errors(points: FilmedPoints, moved: MachineMotion) -> dict[str, FloatArray]:
    truth = points.truth
    turn = np.deg2rad(moved.heading_deg - truth["heron_heading_deg"].to_numpy())
    return {
        "place": np.hypot(moved.x_m - truth["heron_pos_x"].to_numpy(), moved.y_m - truth["heron_pos_y"].to_numpy()),
        "heading": np.degrees(np.angle(np.exp(1j * turn))),
        "pitch": moved.pitch_deg - truth["heron_pitch_deg"].to_numpy(),
        "speed": moved.speed_m_s + truth["heron_vx"].to_numpy(),
    }


@pytest.mark.parametrize(("third", "seed"), [(True, 0), (True, 1), (False, 0), (False, 2)])
def test_lift_of_an_invented_run(third: bool, seed: int) -> None:
    points = film_points(lifted_scene(seed, third=third), np.random.default_rng(seed))
    motion, _ = measure_motion(points.run, points.tracks, points.cameras)
    heron, truth = motion.machines["heron"], points.truth
    up = np.abs(truth["heron_pitch_deg"].to_numpy()) > 0.6
    off = errors(points, heron)
    assert rms(off["pitch"]) < 0.25
    assert np.mean(np.abs(off["pitch"]) < 1.96 * heron.u_pitch_deg + 0.3) > 0.97
    for part in (up, ~up):
        assert rms(off["place"][part]) < 0.0010
        assert np.abs(off["heading"][part]).max() < 0.35
        assert rms(off["heading"][part] / heron.u_heading_deg[part]) < 1.3
        assert rms(off["speed"][part] / heron.u_speed_m_s[part]) < 1.3
    columns = [i for i, p in enumerate(points.tracks.plans) if p.machine == "heron"]
    for i in columns:
        stem = points.tracks.plans[i].name.replace(".", "_")
        true_m = truth[[f"{stem}_{axis}" for axis in "xyz"]].to_numpy()
        places = np.stack([motion.places.x_m[:, i], motion.places.y_m[:, i], motion.places.z_m[:, i]], axis=1)
        assert rms(np.linalg.norm(places - true_m, axis=1)[up]) < 0.002
    wheel = next(w for w in motion.wheels if w.machine == "heron")
    rate = truth["heron_wheel_w"].to_numpy()
    assert rms((wheel.rate_rad_s - rate)[up]) < 0.05 * np.abs(rate).max()
    # The marked wheel is a front one: it has no slip while it is off the table, and has some as soon as it stands.
    high = truth["heron_pitch_deg"].to_numpy() > 3.0
    assert np.isnan(wheel.slip_speed_m_s[high]).all()
    assert np.isfinite(wheel.slip_speed_m_s[~up]).mean() > 0.97


def test_a_lift_does_not_look_like_a_turn() -> None:
    """What the markers would show if they were taken at their sheet heights: a turn of many degrees."""
    points = film_points(lifted_scene(1, third=True), np.random.default_rng(1))
    tall = points.run.sheet.machine["heron"].marker
    keep = [
        i for i, p in enumerate(points.tracks.plans) if p.machine != "heron" or p.name in ("heron.front", "heron.rear")
    ]
    tracks = replace(
        points.tracks,
        plans=tuple(points.tracks.plans[i] for i in keep),
        **{k: getattr(points.tracks, k)[:, keep] for k in ("col_px", "row_px", "u_col_px", "u_row_px", "state")},
    )
    two, note = measure_motion(points.run, tracks, points.cameras)
    assert any("lifted front would look the same" in warning for warning in note.warnings)
    three, _ = measure_motion(points.run, points.tracks, points.cameras)
    assert len(tall) == 3
    off = errors(points, two.machines["heron"])["heading"]
    assert np.abs(off).max() > 5.0
    assert np.isnan(two.machines["heron"].pitch_deg).all()
    assert np.abs(errors(points, three.machines["heron"])["heading"]).max() < 0.35


@pytest.mark.parametrize("clip", ["flat-match", "hand-held"])
def test_standing_machines_are_not_lifted(clip: str) -> None:
    folder = SAMPLE_CLIPS / clip
    run = read_run(folder)
    motion, _ = measure_motion(run, true_tracks(folder, run, np.random.default_rng(5)), true_cameras(folder, run))
    for moved in motion.machines.values():
        assert np.isfinite(moved.pitch_deg).all()
        assert np.abs(moved.pitch_deg).max() < 1.0
        assert rms(moved.pitch_deg / moved.u_pitch_deg) < 1.3


def test_hidden_markers_leave_the_tilt_unknown() -> None:
    points = film_points(lifted_scene(0, third=True), np.random.default_rng(2))
    tracks = points.tracks
    state, col, row = tracks.state.copy(), tracks.col_px.copy(), tracks.row_px.copy()
    gone = slice(150, 200)
    columns = [i for i, p in enumerate(tracks.plans) if p.machine == "heron" and p.name != "heron.front"]
    for i in columns:
        state[gone, i], col[gone, i], row[gone, i] = TrackState.LOST, np.nan, np.nan
    motion, _ = measure_motion(points.run, replace(tracks, state=state, col_px=col, row_px=row), points.cameras)
    heron = motion.machines["heron"]
    assert np.isnan(heron.pitch_deg[155:195]).all()
    known = np.isfinite(heron.pitch_deg)
    assert rms(errors(points, heron)["pitch"][known]) < 0.4


def test_a_machine_that_rolls_onto_one_side() -> None:
    """Its left side comes up by 12°: the body stands on its right wheels, and its markers go round them."""
    scene = demo_scene(0)
    heron_built = scene.machine["heron"]
    heron_built = replace(heron_built, marker=(*heron_built.marker, SIDE))
    points = film_points(replace(scene, machine={**scene.machine, "heron": heron_built}), np.random.default_rng(4))
    truth, tracks = points.truth, points.tracks
    t = tracks.clip_s
    roll = np.radians(12.0) * np.clip((t - 1.5) / 0.3, 0, 1) * np.clip((3.0 - t) / 0.3, 0, 1)
    side = 0.117
    col, row = tracks.col_px.copy(), tracks.row_px.copy()
    generator = np.random.default_rng(5)
    heading = np.deg2rad(truth["heron_heading_deg"].to_numpy())
    forward = np.stack([np.cos(heading), np.sin(heading), 0 * heading], axis=-1)
    left = np.stack([-np.sin(heading), np.cos(heading), 0 * heading], axis=-1)
    ground = truth[["heron_pos_x", "heron_pos_y", "heron_pos_z"]].to_numpy()
    for i, plan in enumerate(tracks.plans):
        if plan.machine != "heron":
            continue
        x, y, z = np.broadcast_to(plan.at_m, (len(t), 3)).T
        if plan.kind == "rim":
            angle = np.radians(plan.angle_deg) - truth["heron_wheel_angle"].to_numpy()
            x, z = x + plan.circle_m * np.cos(angle), z + plan.circle_m * np.sin(angle)
        # About the line through the right wheels' feet, at y = -side and z = 0.
        across = -side + (y + side) * np.cos(roll) - z * np.sin(roll)
        up = (y + side) * np.sin(roll) + z * np.cos(roll)
        place = ground + x[:, None] * forward + across[:, None] * left + up[:, None] * np.array([0.0, 0.0, 1.0])
        pixels = project_points(points.cameras.parameters[0], place) + 0.17 * generator.standard_normal((len(t), 2))
        col[:, i], row[:, i] = pixels.T
    motion, _ = measure_motion(points.run, replace(tracks, col_px=col, row_px=row), points.cameras)
    heron = motion.machines["heron"]
    assert rms(heron.roll_deg - np.degrees(roll)) < 0.8
    assert np.nanmax(heron.roll_deg) == pytest.approx(12.0, abs=1.0)
    assert np.abs(heron.pitch_deg).max() < 1.5
    assert np.abs(errors(points, heron)["heading"]).max() < 1.0
