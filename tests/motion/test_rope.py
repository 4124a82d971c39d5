"""The rope: heights, shares, speed, slack and link."""

import dataclasses
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.filming import demo_scene
from matchvision.motion import measure_motion
from matchvision.motion.crossing import Line, cross_centre
from matchvision.records.motion import Motion, RopeMotion
from matchvision.records.results import StageNote
from matchvision.records.tracks import Tracks, TrackState
from tests.filmed_points import film_points
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, read_truth_facts, true_cameras, true_tracks

FloatArray = npt.NDArray[np.float64]
CLIPS = ("flat-match", "sled-link", "hitch-slips", "hand-held")


@cache
def measured(clip: str) -> tuple[Motion, StageNote]:
    folder = SAMPLE_CLIPS / clip
    run = read_run(folder)
    return measure_motion(run, true_tracks(folder, run, np.random.default_rng(11)), true_cameras(folder, run))


def rope_of(motion: Motion) -> RopeMotion:
    assert motion.rope is not None
    return motion.rope


def in_time(clip: str, motion: Motion) -> npt.NDArray[np.bool_]:
    end_s = read_truth_facts(SAMPLE_CLIPS / clip)["time"]["match_end_clip_s"]
    return np.asarray(motion.clip_s <= end_s)


def true_places(clip: str, motion: Motion, kinds: tuple[str, ...]) -> tuple[list[int], FloatArray]:
    truth = read_truth(SAMPLE_CLIPS / clip)
    columns = [i for i, p in enumerate(motion.tracks.plans) if p.kind in kinds]
    names = [motion.tracks.plans[i].name.replace(".", "_") for i in columns]
    return columns, np.stack([truth[[f"{n}_x", f"{n}_y", f"{n}_z"]].to_numpy(float) for n in names], axis=1)


@pytest.mark.parametrize("clip", CLIPS)
def test_bead_heights(clip: str) -> None:
    motion, _ = measured(clip)
    columns, places = true_places(clip, motion, ("bead", "link"))
    ok = in_time(clip, motion)
    height_error = (motion.places.z_m[:, columns] - places[..., 2])[ok]
    x_error, y_error = motion.places.x_m[:, columns] - places[..., 0], motion.places.y_m[:, columns] - places[..., 1]
    across = np.hypot(x_error, y_error)[ok]
    seen = np.isfinite(across)
    assert np.sqrt(np.mean(height_error[seen] ** 2)) < 0.003
    assert np.sqrt(np.mean(across[seen] ** 2)) < 0.002
    assert across[seen].max() < 0.020


@pytest.mark.parametrize("clip", CLIPS)
def test_share_at_the_end(clip: str) -> None:
    motion, _ = measured(clip)
    rope, truth = rope_of(motion), read_truth(SAMPLE_CLIPS / clip)
    ok = in_time(clip, motion)
    error = (rope.on_plus_x_m - truth["rope_plus_x_m"].to_numpy())[ok]
    assert np.isfinite(error).all()
    assert np.abs(error[-6:]).max() < 0.005
    assert np.sqrt(np.mean((error / rope.u_on_plus_x_m[ok]) ** 2)) < 3.0
    assert rope.on_plus_x_m + rope.on_minus_x_m == pytest.approx(rope.total_m, abs=1e-12)
    assert np.abs(rope.total_m - truth["rope_total_m"].to_numpy())[ok].max() < 0.006


@pytest.mark.parametrize("clip", CLIPS)
def test_slack_and_taut(clip: str) -> None:
    motion, _ = measured(clip)
    taut = read_truth(SAMPLE_CLIPS / clip)["rope_taut"].to_numpy() == 1
    ok = in_time(clip, motion)
    assert np.mean((rope_of(motion).slack == 0)[ok] == taut[ok]) > 0.97


@pytest.mark.parametrize("clip", CLIPS)
def test_speed_at_the_centre_line(clip: str) -> None:
    motion, _ = measured(clip)
    columns, places = true_places(clip, motion, ("bead", "link"))
    arcs = np.array([motion.tracks.plans[i].arc_m for i in columns])
    order = np.argsort(arcs)
    crossing = np.array([np.interp(0.0, row[order, 0], arcs[order]) for row in places])
    ok = in_time(clip, motion)
    error = (rope_of(motion).speed_m_s + np.gradient(crossing, motion.clip_s))[ok]
    assert np.sqrt(np.mean(error**2)) < 0.006
    assert np.sqrt(np.mean((error / rope_of(motion).u_speed_m_s[ok]) ** 2)) < 2.0


def test_link_length() -> None:
    motion, _ = measured("sled-link")
    columns, places = true_places("sled-link", motion, ("link",))
    assert len(columns) == 2
    rope = rope_of(motion)
    error = rope.link_length_m - np.linalg.norm(places[:, 1] - places[:, 0], axis=-1)
    u = np.hypot(rope.u_link_length_m, rope.u_link_common_ratio * rope.link_length_m)
    ok = in_time("sled-link", motion)
    assert np.sqrt(np.mean((error[ok] / u[ok]) ** 2)) == pytest.approx(1.0, abs=0.2)


def test_pull_points_from_hitch_to_rope() -> None:
    motion, _ = measured("flat-match")
    rope = rope_of(motion)
    taut = rope.slack == 0
    # heron stands on the -x side and is pulled towards +x; plover the other way.
    assert (rope.pull_dir_x[taut, 0] > 0.99).all()
    assert (rope.pull_dir_x[taut, 1] < -0.99).all()
    length = np.sqrt(rope.pull_dir_x**2 + rope.pull_dir_y**2 + rope.pull_dir_z**2)
    assert length[taut] == pytest.approx(1.0, abs=1e-12)


def test_released_end_is_off_its_hitch() -> None:
    motion, _ = measured("hitch-slips")
    rope = rope_of(motion)
    release_s = read_truth_facts(SAMPLE_CLIPS / "hitch-slips")["events"]["rope_release_s"]
    gone = motion.clip_s > release_s + 0.1
    assert (rope.slack[gone] == 1).all()
    assert np.isnan(rope.pull_dir_x[gone, 1]).all()
    assert np.isfinite(rope.pull_dir_x[gone, 0]).all()


def hide(tracks: Tracks, names: set[str], frames: slice) -> Tracks:
    columns = [i for i, p in enumerate(tracks.plans) if p.name in names]
    col, row, state = tracks.col_px.copy(), tracks.row_px.copy(), tracks.state.copy()
    for column in columns:
        col[frames, column] = row[frames, column] = np.nan
        state[frames, column] = TrackState.LOST
    return dataclasses.replace(tracks, col_px=col, row_px=row, state=state)


def test_share_without_several_beads() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run = read_run(folder)
    tracks = true_tracks(folder, run, np.random.default_rng(12))
    tracks = hide(tracks, {"bead_06", "bead_07", "bead_08", "bead_14"}, slice(150, 500))
    motion, _ = measure_motion(run, tracks, true_cameras(folder, run))
    error = rope_of(motion).on_plus_x_m - read_truth(folder)["rope_plus_x_m"].to_numpy()
    assert np.isfinite(error).all()
    assert np.abs(error[150:500]).max() < 0.005


def test_beads_alone_give_the_share() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run = read_run(folder)
    tracks = true_tracks(folder, run, np.random.default_rng(13))
    keep = [i for i, p in enumerate(tracks.plans) if p.kind == "bead"]
    tracks = dataclasses.replace(
        tracks,
        plans=tuple(tracks.plans[i] for i in keep),
        **{k: getattr(tracks, k)[:, keep] for k in ("col_px", "row_px", "u_col_px", "u_row_px", "state")},
    )
    run = dataclasses.replace(run, sheet=run.sheet.model_copy(update={"machine": {}}))
    motion, note = measure_motion(run, tracks, true_cameras(folder, run))
    rope = rope_of(motion)
    error = rope.on_plus_x_m - read_truth(folder)["rope_plus_x_m"].to_numpy()
    assert np.isnan(rope.slack).all()
    assert np.isfinite(error).all()
    assert np.sqrt(np.mean((error / rope.u_on_plus_x_m) ** 2)) < 2.0
    assert np.abs(error).max() < 0.02
    assert any("between 0 and 0.1 m" in w for w in note.warnings)


def test_hitches_alone_give_the_share() -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run = read_run(folder)
    tracks = true_tracks(folder, run, np.random.default_rng(14))
    keep = [i for i, p in enumerate(tracks.plans) if p.kind == "body"]
    tracks = dataclasses.replace(
        tracks,
        plans=tuple(tracks.plans[i] for i in keep),
        **{k: getattr(tracks, k)[:, keep] for k in ("col_px", "row_px", "u_col_px", "u_row_px", "state")},
    )
    assert run.sheet.rope is not None
    rope_sheet = run.sheet.rope.model_copy(update={"beads": ()})
    run = dataclasses.replace(run, sheet=run.sheet.model_copy(update={"rope": rope_sheet}))
    motion, _ = measure_motion(run, tracks, true_cameras(folder, run))
    error = rope_of(motion).on_plus_x_m - read_truth(folder)["rope_plus_x_m"].to_numpy()
    assert np.abs(error[-60:]).max() < 0.006


def line_through(x: list[float]) -> Line:
    k = len(x)
    place = np.zeros((1, k, 3))
    place[0, :, 0] = x
    nothing = np.zeros((1, k))
    return Line(np.arange(float(k)), place, place[..., 0], nothing + 0.001, nothing, np.zeros((1, k, 15)))


def test_pieces_are_summed_by_side() -> None:
    # Out, back over the line and out again: 1.5 + 1 of 4 m on the +x side.
    crossing = cross_centre(line_through([-1.0, 1.0, 1.0, -1.0, 1.0]), None)
    assert crossing.plus_m[0] == pytest.approx(0.5 + 1.0 + 0.5 + 0.5)
    assert crossing.arc_m[0] == pytest.approx(0.5)


def test_all_on_one_side() -> None:
    assert cross_centre(line_through([0.1, 0.5, 1.0]), None).plus_m[0] == 2.0
    assert cross_centre(line_through([-0.1, -0.5, -1.0]), None).plus_m[0] == 0.0


@pytest.mark.parametrize("seed", [1, 4])
def test_rope_that_snaps_taut(seed: int) -> None:
    """A rope that lies on the table is taut two frames later: no bead may be far off there, least of all surely so."""
    points = film_points(demo_scene(seed), np.random.default_rng(31))
    motion, _ = measure_motion(points.run, points.tracks, points.cameras)
    places, plans = motion.places, points.tracks.plans
    columns = [i for i, p in enumerate(plans) if p.kind in ("bead", "link")]
    names = [plans[i].name for i in columns]
    x, y, z = (points.truth[[f"{n}_{axis}" for n in names]].to_numpy() for axis in "xyz")
    risen = np.diff(z[:, len(columns) // 2])
    assert risen.max() > 0.015
    off = np.hypot(places.x_m[:, columns] - x, places.y_m[:, columns] - y)
    assert off.max() < 0.015
    far = off > 0.010
    assert (np.hypot(places.u_x_m, places.u_y_m)[:, columns][far] > off[far] / 4).all()


@pytest.mark.parametrize("hidden", [range(1, 6), range(10, 15), (1, 2, 3, 12, 13, 14)])
def test_parts_under_a_machine_make_the_share_less_sure_not_wrong(hidden: tuple[int, ...]) -> None:
    """Beads at a machine's end never show, slack or taut: what lies there follows from the hitch and the length."""
    folder = SAMPLE_CLIPS / "flat-match"
    run = read_run(folder)
    whole = true_tracks(folder, run, np.random.default_rng(15))
    covered = hide(whole, {f"bead_{k:02d}" for k in hidden}, slice(None))
    seen, _ = measured("flat-match")
    motion, _ = measure_motion(run, covered, true_cameras(folder, run))
    rope, truth = rope_of(motion), read_truth(folder)
    error = rope.on_plus_x_m - truth["rope_plus_x_m"].to_numpy()
    ok = in_time("flat-match", motion)
    assert np.isfinite(error[ok]).all()
    assert np.abs(error[ok]).max() < 0.008
    assert np.sqrt(np.mean((error[ok] / rope.u_on_plus_x_m[ok]) ** 2)) < 2.0
    assert np.median(rope.u_on_plus_x_m[ok]) >= 0.98 * np.median(rope_of(seen).u_on_plus_x_m[ok])
    taut = truth["rope_taut"].to_numpy() == 1
    assert np.mean((rope.slack == 0)[ok] == taut[ok]) > 0.95
