"""One clip, several runs: each where and when its truth says, through a camera that may have been knocked."""

import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import av
import cv2
import numpy as np
import pandas as pd
import pytest

from matchvision.errors import SheetError
from matchvision.filming import demo_scene, film_evening
from matchvision.filming.backdrop import linear_from_srgb
from matchvision.filming.camera import lens_of, project_points, still_pose, turn_about
from matchvision.filming.equipment import Bump, Hand, Lamp, Sound, Sway
from matchvision.filming.evening import later
from matchvision.filming.scene import Clock, Scene
from matchvision.filming.truth import frame_times
from matchvision.sheets import load_run

BUMP = Bump(move_m=(0.004, -0.002, 0.003), turn_deg=(0.3, -0.4, 0.2))


def runs() -> tuple[Scene, Scene]:
    base = demo_scene(4)
    camera = replace(base.camera, size_px=(640, 360), f_px=(496.0, 496.8), centre_px=(321.5, 178.0), frames_per_s=50.0)
    clock = Clock(start_s=0.06, duration_s=0.12, after_s=0.04)
    one = replace(base, name="first", camera=camera, clock=clock, thing=(), sound=Sound())
    swapped = {**one.machine, "heron": replace(one.machine["heron"], hitch_x_m=-0.42)}
    two = replace(one, name="second", seed=99, machine=swapped, camera=replace(camera, bump=BUMP))
    return one, two


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("evening") / "clips"
    calls: list[tuple[int, int]] = []
    filmed = film_evening(runs(), folder, pause_s=0.1, progress=lambda done, of: calls.append((done, of)))
    assert [s.name for s in filmed] == ["first", "second"]
    assert calls[-1] == (29, 29)
    return folder


def shown(folder: Path) -> list[np.ndarray]:
    with av.open(str(folder / "clip.mp4")) as container:
        frames = list(container.decode(video=0))
    assert [f.pts for f in frames] == [1800 * k for k in range(29)]
    return [f.to_ndarray(format="rgb24") for f in frames]


def test_every_run_of_the_evening_is_where_its_truth_says(evening: Path) -> None:
    pictures = shown(evening)
    facts = json.loads((evening / "evening.json").read_text())["runs"]
    assert [(f["from_s"], f["camera_bumped"]) for f in facts] == [(0.0, False), (0.34, True)]
    for name, scene in zip(("first", "second"), runs(), strict=True):
        truth = pd.read_csv(evening / name / "truth.csv")
        told = json.loads((evening / name / "truth.json").read_text())["time"]
        assert told["frames"] == len(truth) == 12
        np.testing.assert_allclose(truth["pts_s"], (told["first_frame"] + np.arange(12)) / 50, atol=1e-6)
        assert told["match_start_clip_s"] == pytest.approx(truth["pts_s"][0] + 0.06)
        assert told["start_sound_clip_s"] == told["match_start_clip_s"]
        picture = pictures[told["first_frame"] + 6]
        for machine in ("heron", "plover"):
            colour = next(d.colour for d in scene.machine[machine].marker if d.name == "rear")
            meant = [int(scene.colour[colour][i : i + 2], 16) for i in (1, 3, 5)]
            col, row = truth[f"{machine}_rear_u"][6], truth[f"{machine}_rear_v"][6]
            assert np.abs(picture[round(row), round(col)].astype(int) - meant).max() < 45
    moved = pd.read_csv(evening / "second" / "truth.csv")["heron_rear_u"][0]
    assert moved - pd.read_csv(evening / "first" / "truth.csv")["heron_rear_u"][0] > 5


def test_the_pause_stands_still_and_the_machines_jump_within_it(evening: Path) -> None:
    grey = [cv2.GaussianBlur(p, (0, 0), 2).astype(int) for p in shown(evening)]
    steps = [int(np.abs(b - a).max()) for a, b in pairwise(grey[11:18])]
    assert max(steps[:2] + steps[3:]) < 12
    assert steps[2] > 60


def test_sheets_say_which_part_of_the_clip_is_theirs(evening: Path) -> None:
    for name, from_s in (("first", 0.0), ("second", 0.34)):
        run = load_run(evening / name)
        assert run.sheet.clock is not None
        assert run.sheet.clock.from_s == pytest.approx(from_s)
        assert run.sheet.clock.until_s == pytest.approx(from_s + 0.22)
        assert run.sheet.clock.start_s == pytest.approx(from_s + 0.06)
        assert run.clip.resolve() == (evening / "clip.mp4").resolve()


def test_both_start_sounds_are_heard_at_their_times(evening: Path) -> None:
    times, samples = [], []
    with av.open(str(evening / "clip.mp4")) as container:
        for frame in container.decode(audio=0):
            assert frame.time is not None
            times.append(frame.time + np.arange(frame.samples) / 48_000)
            samples.append(np.abs(frame.to_ndarray()[0]))
    clip_s, level = np.concatenate(times), np.concatenate(samples)
    for start_s in (0.06, 0.40):
        quiet = (clip_s > start_s - 0.03) & (clip_s < start_s - 0.001)
        loud = (clip_s > start_s) & (clip_s < start_s + 0.002)
        assert level[quiet].max() < 0.08
        assert level[loud].max() > 0.15


def test_a_bump_moves_and_turns_the_camera() -> None:
    _, knocked = runs()
    before, after = still_pose(replace(knocked.camera, bump=None)), still_pose(knocked.camera)
    np.testing.assert_allclose(after.position - before.position, [BUMP.move_m], atol=1e-12)
    turn = after.rotation[0] @ before.rotation[0].T
    vector, _ = cv2.Rodrigues(turn)
    np.testing.assert_allclose(np.rad2deg(vector[:, 0]), BUMP.turn_deg, atol=1e-9)
    np.testing.assert_allclose(turn_about(np.zeros(3)), np.eye(3))
    corner = np.array([[1.0, 0.4, 0.0]])
    shift = project_points(corner, lens_of(knocked.camera), after) - project_points(
        corner, lens_of(knocked.camera), before
    )
    assert 2 < np.linalg.norm(shift) < 10


def test_a_bumped_camera_sees_the_tags_where_they_are(evening: Path) -> None:
    """White paper beside, black border on each tag, through the knocked camera."""
    _, scene = runs()
    picture = shown(evening)[-3].mean(axis=-1)
    for tag in scene.table.tag:
        x, y = tag.centre_m
        cell = tag.side_m / 8
        spots = np.array([[x, y + s * d * cell, 0] for s in (-1, 1) for d in (3.5, 4.7)])
        seen = np.round(project_points(spots, lens_of(scene.camera), still_pose(scene.camera))).astype(int)
        dark, pale, *rest = (picture[row, col] for col, row in seen)
        assert dark + 90 < pale
        assert rest[0] + 90 < rest[1]
    assert linear_from_srgb("#eeeeec").mean() > 0.8


def test_everything_in_a_later_scene_is_later() -> None:
    one, _ = runs()
    full = replace(one, sound=Sound(at_s=0.1), lamp=Lamp(at_m=(0, 0.7, 0), on_s=0.1), hand=(Hand(0.0, 0.1),))
    moved = later(full, 3.0)
    assert moved.start_sound_s == moved.lamp_on_s == pytest.approx(3.1)
    assert moved.hand[0].from_s == 3.0
    assert moved.end_s == pytest.approx(full.end_s + 3)
    assert moved.frames == full.frames
    np.testing.assert_allclose(frame_times(moved), frame_times(full) + 3)


def test_runs_that_do_not_fit_into_one_clip_are_named(tmp_path: Path) -> None:
    one, two = runs()
    other = replace(two, camera=replace(two.camera, roll_deg=3.0, sway=Sway(0.01, 0.1)))
    with pytest.raises(SheetError) as caught:
        film_evening([one, other, one], tmp_path)
    text = str(caught.value)
    assert "'first' is used twice" in text
    assert "differs from the first run's" in text
    assert "held by hand" in text
    with pytest.raises(SheetError, match="at least one"):
        film_evening([], tmp_path)
