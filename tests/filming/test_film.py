"""A filmed folder holds a sound clip, the sheet that a user would write, and the truth."""

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pandas as pd
import pytest

from matchvision.errors import OutputError
from matchvision.filming import demo_scene, film, frame_times, place_everything, play, project
from matchvision.filming.backdrop import linear_from_srgb
from matchvision.filming.camera import lens_of, project_points
from matchvision.filming.equipment import Sway
from matchvision.filming.pictures import Studio
from matchvision.filming.scene import Clock, Scene, Tag
from matchvision.filming.views import poses_of, row_moments
from matchvision.sheets import load_run

SAMPLE_CLIPS = Path(__file__).parents[2] / "sample_clips"
SWAY = Sway(move_m=0.02, turn_deg=0.7)
REFINED = cv2.aruco.DetectorParameters()
REFINED.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
REFINED.cornerRefinementWinSize = 2
DETECTOR = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), REFINED)


def short_scene() -> Scene:
    """A third of a second in a small picture, with tags that are large for it."""
    scene = demo_scene(4)
    table = replace(
        scene.table,
        tag=tuple(
            Tag(id=t.id, side_m=0.17, centre_m=(0.98 * t.centre_m[0], 0.95 * t.centre_m[1])) for t in scene.table.tag
        ),
    )
    camera = replace(scene.camera, size_px=(640, 360), f_px=(496.0, 496.8), centre_px=(321.5, 178.0), frames_per_s=50.0)
    return replace(scene, table=table, camera=camera, clock=Clock(start_s=0.1, duration_s=0.2, after_s=0.06), thing=())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("clip") / "run"
    calls: list[tuple[int, int]] = []
    film(short_scene(), folder, lambda done, of: calls.append((done, of)))
    assert calls == [(k + 1, 19) for k in range(19)]
    return folder


def test_clip_has_its_pictures_at_their_times(folder: Path) -> None:
    with av.open(str(folder / "clip.mp4")) as container:
        stream = container.streams.video[0]
        frames = list(container.decode(stream))
        assert stream.time_base == Fraction(1, 90_000)
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert (stream.width, stream.height) == (640, 360)
        facts = stream.codec_context
        assert [facts.color_range, facts.colorspace, facts.color_primaries, facts.color_trc] == [1, 1, 1, 1]
    truth = pd.read_csv(folder / "truth.csv")
    assert [frame.pts for frame in frames] == [1800 * k for k in range(19)]
    np.testing.assert_allclose(truth["pts_s"], np.arange(19) / 50, atol=1e-9)
    assert sorted(p.name for p in folder.iterdir()) == ["clip.mp4", "hang.csv", "run.toml", "truth.csv", "truth.json"]
    head = (folder / "clip.mp4").read_bytes()
    assert head.index(b"moov") < head.index(b"mdat")


def test_clip_shows_tags_and_colours_where_they_are(folder: Path) -> None:
    scene = short_scene()
    with av.open(str(folder / "clip.mp4")) as container:
        shown = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)][-1]
    found = detected(cv2.cvtColor(shown, cv2.COLOR_RGB2GRAY))
    truth = pd.read_csv(folder / "truth.csv").iloc[-1]
    course = play(scene)
    poses = project(scene, course, place_everything(scene, course, frame_times(scene))).poses
    for tag in scene.table.tag:
        off = found[tag.id] - project_points(tag_corners(tag), lens_of(scene.camera), poses.at(0))
        # Corners of so small a tag are drawn inwards by the detector; their middle is not.
        assert np.hypot(*off.T).max() < 1.5
        assert np.abs(off.mean(axis=0)).max() < 0.3
    for name in ("heron_rear", "plover_rear"):
        machine, marker = name.split("_")
        colour = next(d.colour for d in scene.machine[machine].marker if d.name == marker)
        meant = [int(scene.colour[colour][i : i + 2], 16) for i in (1, 3, 5)]
        seen = shown[round(truth[f"{name}_v"]), round(truth[f"{name}_u"])]
        assert np.abs(seen.astype(int) - meant).max() < 45


def ridged(scene: Scene) -> Scene:
    return replace(scene, table=replace(scene.table, profile_m=((-1.1, -0.1156), (0.0, 0.0), (1.1, -0.1156))))


def tag_corners(tag: Tag, slope: float = 0.0) -> np.ndarray:
    """Corners of the black square; on a ridge of ``slope`` it lies on the side on which its middle is."""
    half, (x, y) = tag.side_m / 2, tag.centre_m
    flat = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])
    tilt = -np.sign(x) * np.arctan(slope)
    height = -slope * abs(x) + flat[:, 0] * np.sin(tilt)
    return np.stack([x + flat[:, 0] * np.cos(tilt), y + flat[:, 1], height], axis=-1)


def detected(grey: np.ndarray) -> dict[int, np.ndarray]:
    corners, ids, _ = DETECTOR.detectMarkers(grey)
    return {int(i): c.reshape(4, 2) for c, i in zip(corners, ids.ravel(), strict=True)}


def seen_by(scene: Scene, points: np.ndarray, pts_s: float) -> np.ndarray:
    """Pixels of points that stand still, each when its row is exposed."""
    rows, pixels = np.full(len(points), (scene.camera.size_px[1] - 1) / 2), points[:, :2]
    for _ in range(4):
        poses = poses_of(scene, row_moments(scene.camera, np.full(len(points), pts_s), rows))
        pixels = project_points(points[:, None], lens_of(scene.camera), poses)[:, 0]
        rows = pixels[:, 1]
    return pixels


def edge_offsets(picture: np.ndarray, tag: Tag, scene: Scene, pts_s: float) -> np.ndarray:
    """Distance [px] by which the half-way level lies outside each side of a tag's black square, shape (4, 15)."""
    found = np.empty((4, 15))
    reach = np.arange(-1.0, 1.01, 0.05)
    corners = tag_corners(tag, 0.1156 / 1.1 if scene.table.profile_m else 0.0)
    half = (linear_from_srgb("#eeeeec").mean() + linear_from_srgb("#16171a").mean()) / 2
    for side in range(4):
        start, end = corners[side], corners[(side + 1) % 4]
        along = np.linspace(0.15, 0.85, 15)[:, None]
        points = seen_by(scene, start + along * (end - start), pts_s)
        points_outside = start + along * (end - start) + 0.1 * ((start + end) / 2 - corners.mean(axis=0))
        outside = seen_by(scene, points_outside, pts_s)
        direction = points[-1] - points[0]
        outward = np.array([direction[1], -direction[0]]) / np.linalg.norm(direction)
        outward *= np.sign(outward @ (outside - points)[7])
        for k, point in enumerate(points):
            col, row = (point + reach[:, None] * outward).astype(np.float32).T[:, None]
            level = np.asarray(cv2.remap(picture, col, row, cv2.INTER_LINEAR))[0]
            found[side, k] = np.interp(half, level, reach)
    return found


@pytest.mark.parametrize(
    ("sway", "readout_s", "ridge"),
    [(None, 0.03, False), (SWAY, 0.0, False), (None, 0.0, True), (SWAY, 0.0, True), (SWAY, 0.03, True)],
)
def test_tags_are_where_the_camera_sees_them(sway: Sway | None, readout_s: float, ridge: bool) -> None:
    """The sides of the printed squares, in linear light and without noise, to six hundredths of a pixel."""
    base = ridged(short_scene()) if ridge else short_scene()
    # Blurred, so that reading between pixels is exact.
    scene = replace(base, camera=replace(base.camera, sway=sway, readout_s=readout_s, blur_px=0.7))
    course = play(scene)
    places = place_everything(scene, course, np.array([0.0, 0.9]))
    views = project(scene, course, places)
    moved = np.linalg.norm(views.poses.position[1] - views.poses.position[0])
    assert moved == 0 if sway is None else moved > 0.003
    studio = Studio(scene, course, places, views)
    for frame in (0, 1):
        picture = studio.backdrop(frame)[1].mean(axis=-1)
        for tag in scene.table.tag:
            offsets = edge_offsets(picture, tag, scene, places.clip_s[frame])
            assert np.abs(offsets.mean(axis=1)).max() < 0.06
            assert np.abs(offsets).max() < 0.15


def test_truth_has_what_the_sample_clips_have(folder: Path) -> None:
    ours = set(pd.read_csv(folder / "truth.csv", nrows=1).columns)
    theirs = set(pd.read_csv(SAMPLE_CLIPS / "sled-link" / "truth.csv", nrows=1).columns)
    wanted = {c for c in theirs if not c.startswith(("bead", "sled"))} - {"t_sim_s"}
    assert wanted <= ours
    facts = json.loads((folder / "truth.json").read_text())
    sample = json.loads((SAMPLE_CLIPS / "flat-match" / "truth.json").read_text())
    for block in ("time", "events", "verdict", "rope"):
        missing = set(sample[block]) - set(facts[block]) - {"sim_clock_minus_pts_s"}
        assert not missing, block
    assert facts["time"]["frames"] == 19


def test_run_sheet_is_read_without_fault_and_tells_no_secret(folder: Path) -> None:
    scene = short_scene()
    run = load_run(folder)
    sheet = run.sheet
    assert sheet.run.kind == "match"
    assert sheet.clock is not None
    assert sheet.clock.start_s == scene.clock.start_s
    assert sheet.rope is not None
    assert [(b.name, b.at_m, b.colour) for b in sheet.rope.beads] == scene.beads()
    assert set(sheet.machine) == set(sheet.forecast) == {"heron", "plover"}
    assert run.hang_test is not None
    link = scene.rope.link
    assert link is not None
    slope = np.polyfit(run.hang_test.mass_kg, run.hang_test.length_m, 1)[0]
    assert 9.81 / slope == pytest.approx(link.stiffness_N_per_m, rel=0.02)
    text = (folder / "run.toml").read_text()
    assert "inertia" not in text
    assert "hitch_x" not in text
    assert "stiffness" not in text


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(OutputError, match="folder that can be written"):
        film(short_scene(), blocked / "run")
