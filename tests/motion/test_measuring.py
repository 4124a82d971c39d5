"""The whole motion stage on sample clips' truth with noise, and what must hold whatever the clip."""

import dataclasses

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from matchvision.errors import CannotMeasure
from matchvision.geometry.camera import place_at_height
from matchvision.motion import measure_motion
from matchvision.records.camera import Cameras
from matchvision.records.sheet import Run
from matchvision.records.tracks import Tracks, TrackState
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, true_cameras, true_tracks


def inputs(clip: str, seed: int = 1) -> tuple[Run, Tracks, Cameras]:
    folder = SAMPLE_CLIPS / clip
    run = read_run(folder)
    return run, true_tracks(folder, run, np.random.default_rng(seed)), true_cameras(folder, run)


def thinned(tracks: Tracks, keep: slice) -> Tracks:
    arrays = ("frame", "clip_s", "col_px", "row_px", "u_col_px", "u_row_px", "state")
    return dataclasses.replace(tracks, **{name: getattr(tracks, name)[keep] for name in arrays})


@pytest.mark.parametrize("clip", ["flat-match", "sled-link", "hitch-slips", "hand-held"])
def test_sample_clips_within_limits(clip: str) -> None:
    run, tracks, cameras = inputs(clip)
    truth = read_truth(SAMPLE_CLIPS / clip)
    motion, note = measure_motion(run, tracks, cameras)
    assert note.status == "done"
    for name, machine in motion.machines.items():
        sign = -1 if run.sheet.machine[name].home == "-x" else 1
        true_speed = sign * truth[f"{name}_vx"].to_numpy()
        error = machine.speed_m_s - true_speed
        rms = np.sqrt(np.mean(error**2))
        assert rms < 0.008
        # A finite difference of the same tracks, placed with the same camera.
        front = next(i for i, p in enumerate(tracks.plans) if p.name == f"{name}.front")
        pixels = np.stack([tracks.col_px[:, front], tracks.row_px[:, front]], axis=-1)
        placed = place_at_height(cameras.parameters, pixels, tracks.plans[front].at_m[2])[:, 0]
        difference = sign * np.gradient(placed, tracks.clip_s) - true_speed
        assert rms < 0.7 * np.sqrt(np.nanmean(difference**2))
        assert 0.3 < np.sqrt(np.mean((error / machine.u_speed_m_s) ** 2)) < 3.0
        turned = machine.heading_deg - truth[f"{name}_heading_deg"].to_numpy()
        assert np.abs((turned + 180) % 360 - 180).max() < 0.5
        off = np.hypot(machine.x_m - truth[f"{name}_pos_x"].to_numpy(), machine.y_m - truth[f"{name}_pos_y"].to_numpy())
        assert off.max() < 0.002


def test_later_clip_same_motion() -> None:
    run, tracks, cameras = inputs("hitch-slips")
    motion, _ = measure_motion(run, tracks, cameras)
    later, _ = measure_motion(run, dataclasses.replace(tracks, clip_s=tracks.clip_s + 7.0), cameras)
    assert later.machines["heron"].speed_m_s == pytest.approx(motion.machines["heron"].speed_m_s, abs=1e-5)
    assert later.machines["heron"].u_speed_m_s == pytest.approx(motion.machines["heron"].u_speed_m_s, rel=1e-3)


def test_slow_motion_scales_speed() -> None:
    run, tracks, cameras = inputs("hitch-slips")
    motion, _ = measure_motion(run, tracks, cameras)
    slow = dataclasses.replace(tracks, clip_s=tracks.clip_s * 8.0)
    real, _ = measure_motion(run, slow, cameras, 1 / 8)
    assert real.real_s == pytest.approx(motion.real_s)
    assert real.clip_s == pytest.approx(8 * motion.clip_s)
    assert real.machines["plover"].speed_m_s == pytest.approx(motion.machines["plover"].speed_m_s, abs=1e-6)


def test_table_turned_round() -> None:
    """The same film with the table's frame turned by half a turn: homes and sides change places, speeds do not."""
    run, tracks, cameras = inputs("flat-match")
    motion, _ = measure_motion(run, tracks, cameras)
    half_turn = Rotation.from_euler("z", 180, degrees=True)
    parameters = cameras.parameters.copy()
    parameters[:, 9:12] = (Rotation.from_rotvec(parameters[:, 9:12]) * half_turn).as_rotvec()
    homes = {
        name: machine.model_copy(update={"home": "+x" if machine.home == "-x" else "-x"})
        for name, machine in run.sheet.machine.items()
    }
    turned_run = dataclasses.replace(run, sheet=run.sheet.model_copy(update={"machine": homes}))
    turned, _ = measure_motion(turned_run, tracks, dataclasses.replace(cameras, parameters=parameters))
    for name, machine in motion.machines.items():
        other = turned.machines[name]
        assert other.x_m == pytest.approx(-machine.x_m, abs=1e-6)
        assert other.speed_m_s == pytest.approx(machine.speed_m_s, abs=1e-4)
        assert np.cos(np.radians(other.heading_deg - machine.heading_deg)) == pytest.approx(-1.0, abs=1e-6)
    assert motion.rope is not None
    assert turned.rope is not None
    # The camera's covariance is not turned along, so the stretch is believed a little more or less.
    assert turned.rope.on_plus_x_m == pytest.approx(motion.rope.on_minus_x_m, abs=3e-4)
    assert turned.rope.speed_m_s == pytest.approx(-motion.rope.speed_m_s, abs=1e-3)
    for a, b in zip(motion.wheels, turned.wheels, strict=True):
        assert b.rate_rad_s == pytest.approx(a.rate_rad_s, abs=1e-3)


def test_a_camera_that_shrinks_the_table_shows_in_speed() -> None:
    """A fault of 1 % in scale must show as 1 % in speed, and lie within what a camera that uncertain would state."""
    run, tracks, cameras = inputs("sled-link")
    motion, _ = measure_motion(run, tracks, cameras)
    parameters = cameras.parameters.copy()
    parameters[:, 12:15] *= 1.01
    wrong, _ = measure_motion(run, tracks, dataclasses.replace(cameras, parameters=parameters))
    fast = np.abs(motion.machines["heron"].speed_m_s) > 0.05
    ratio = wrong.machines["heron"].speed_m_s[fast] / motion.machines["heron"].speed_m_s[fast]
    assert np.median(ratio) == pytest.approx(1.01, abs=0.002)


def test_half_the_frames_are_less_sure() -> None:
    run, tracks, cameras = inputs("flat-match")
    motion, _ = measure_motion(run, tracks, cameras)
    half, _ = measure_motion(run, thinned(tracks, slice(None, None, 2)), cameras)
    whole_u = np.median(motion.machines["heron"].u_speed_m_s)
    assert np.median(half.machines["heron"].u_speed_m_s) > whole_u


def test_one_marker_gives_place_but_no_heading() -> None:
    run, tracks, cameras = inputs("flat-match")
    lost = [i for i, p in enumerate(tracks.plans) if p.name == "plover.rear"]
    col, row = tracks.col_px.copy(), tracks.row_px.copy()
    col[:, lost] = row[:, lost] = np.nan
    motion, note = measure_motion(run, dataclasses.replace(tracks, col_px=col, row_px=row), cameras)
    plover, truth = motion.machines["plover"], read_truth(SAMPLE_CLIPS / "flat-match")
    assert np.isnan(plover.heading_deg).all()
    error = np.stack([plover.x_m - truth["plover_pos_x"], plover.y_m - truth["plover_pos_y"]])
    assert (np.abs(error) < 3 * np.stack([plover.u_x_m, plover.u_y_m])).all()
    assert any("which way it points" in w for w in note.warnings)
    assert note.status == "partly"


def test_long_loss_stays_empty_and_short_one_is_bridged() -> None:
    run, tracks, cameras = inputs("flat-match")
    mine = [i for i, p in enumerate(tracks.plans) if p.machine == "heron"]
    col, row = tracks.col_px.copy(), tracks.row_px.copy()
    col[200:208, mine] = row[200:208, mine] = np.nan
    col[300:340, mine] = row[300:340, mine] = np.nan
    motion, _ = measure_motion(run, dataclasses.replace(tracks, col_px=col, row_px=row), cameras)
    heron = motion.machines["heron"]
    assert np.isfinite(heron.speed_m_s[200:208]).all()
    assert heron.u_x_m[204] >= heron.u_x_m[190]
    assert np.isnan(heron.speed_m_s[300:340]).all()
    assert np.isnan(motion.wheels[0].rate_rad_s[300:340]).all()
    assert np.isfinite(motion.machines["plover"].speed_m_s).all()


def test_motion_does_not_rest_on_bridged_positions() -> None:
    run, tracks, cameras = inputs("hitch-slips")
    mine = [i for i, p in enumerate(tracks.plans) if p.machine == "heron"]
    state, col = tracks.state.copy(), tracks.col_px.copy()
    state[80:85, mine] = TrackState.BRIDGED
    col[80:85, mine] += 30.0
    motion, _ = measure_motion(run, dataclasses.replace(tracks, state=state, col_px=col), cameras)
    truth = read_truth(SAMPLE_CLIPS / "hitch-slips")
    assert np.abs(motion.machines["heron"].x_m - truth["heron_pos_x"])[80:85].max() < 0.003
    assert np.isfinite(motion.places.x_m[80:85][:, mine]).all()


def test_ridge_of_no_height_changes_nothing() -> None:
    run, tracks, cameras = inputs("flat-match")
    table = run.sheet.table.model_copy(update={"profile_m": ((-1.1, 0.0), (1.1, 0.0))})
    level = dataclasses.replace(run, sheet=run.sheet.model_copy(update={"table": table}))
    motion, _ = measure_motion(run, tracks, cameras)
    again, _ = measure_motion(level, tracks, cameras)
    assert np.array_equal(motion.machines["heron"].x_m, again.machines["heron"].x_m, equal_nan=True)


def test_too_few_frames_are_refused() -> None:
    run, tracks, cameras = inputs("flat-match")
    with pytest.raises(CannotMeasure, match="2 frames"):
        measure_motion(run, thinned(tracks, slice(0, 2)), cameras)


def test_note_gives_numbers_and_advice() -> None:
    run, tracks, cameras = inputs("sled-link")
    machine = run.sheet.machine["heron"].model_copy(update={"wheel": ()})
    sheet = run.sheet.model_copy(update={"machine": {**run.sheet.machine, "heron": machine}})
    keep = [i for i, p in enumerate(tracks.plans) if p.kind != "rim"]
    arrays = ("col_px", "row_px", "u_col_px", "u_row_px", "state")
    plans = tuple(tracks.plans[i] for i in keep)
    bare = dataclasses.replace(tracks, plans=plans, **{name: getattr(tracks, name)[:, keep] for name in arrays})
    motion, note = measure_motion(dataclasses.replace(run, sheet=sheet), bare, cameras)
    assert motion.wheels == ()
    assert "556 frames" in note.sentence
    assert "mm/s" in note.sentence
    assert note.advice == ("two small discs on a wheel of heron give its slip",)
