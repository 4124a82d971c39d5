"""Colours too like for this clip are named before they are followed, with a colour that would serve."""

import re
from dataclasses import replace
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from matchvision.filming import demo_scene, film
from matchvision.footage import read_facts, read_frames
from matchvision.markers import MarkerTracker, plan_markers
from matchvision.markers.colours import chroma_of
from matchvision.markers.confusing import APART_DEG, describe_colours, name_confusions
from matchvision.records.sheet import Colour
from matchvision.records.tracks import MarkerPlan
from tests.markers.test_tracking import camera_of
from tests.truth import SAMPLE_CLIPS, read_run, read_truth


def angle_deg(srgb: str) -> float:
    blue, red = chroma_of(srgb, "bt709", False)
    return float(np.rad2deg(np.arctan2(red, blue)))


def apart_deg(one: str, other: str) -> float:
    return abs((angle_deg(one) - angle_deg(other) + 180) % 360 - 180)


def test_like_colours_are_named_with_a_better_choice() -> None:
    colours = {"red": "#d7231e", "cherry": "#d01a2c", "cyan": "#0ab4cd", "green": "#1eaf3c"}
    plans = [MarkerPlan(f"{name}_{k}", "bead", name, 0.01) for name in colours for k in range(3)]
    rng = np.random.default_rng(4)
    chroma = np.array([chroma_of(colours[p.colour], "bt709", False) for p in plans]) + rng.normal(0, 2, (len(plans), 2))
    assert apart_deg(colours["red"], colours["cherry"]) < APART_DEG
    (sentence,) = name_confusions(plans, chroma, "bt709", False)
    assert "red and cherry" in sentence
    better = re.search(r"wear (#[0-9a-f]{6}) in place of cherry", sentence)
    assert better
    assert min(apart_deg(better[1], colours[n]) for n in ("red", "cyan", "green")) > APART_DEG + 8


def test_the_same_markers_without_chroma_say_nothing() -> None:
    plans = [MarkerPlan("a", "bead", "red", 0.01), MarkerPlan("b", "bead", "cherry", 0.01)]
    assert name_confusions(plans, np.full((2, 2), np.nan), "bt709", False) == ()


@pytest.mark.parametrize("wrong", [False, True])
def test_a_clip_is_judged_by_what_it_shows(wrong: bool) -> None:
    folder = SAMPLE_CLIPS / "flat-match"
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    if wrong:
        # The sheet calls magenta what is nearly its red: told before anything is followed.
        colours = {**run.sheet.colour, "magenta": Colour(srgb="#d8242a")}
        run = type(run)(run.sheet.model_copy(update={"colour": colours}), run.folder, run.hang_test)
    frame = next(iter(read_frames(facts)))
    said = describe_colours(frame, camera_of(folder, truth.iloc[0], (0.0, 0.0)), run, facts)
    assert any("red and magenta" in s or "magenta and red" in s for s in said) == wrong
    assert len(said) == int(wrong)


def halved(pair: tuple[float, float] | None) -> tuple[float, float]:
    assert pair is not None
    return pair[0] / 2, pair[1] / 2


@pytest.mark.slow
def test_a_filmed_clip_with_two_like_colours_is_told_of_before_it_is_followed(tmp_path: Path) -> None:
    scene = demo_scene(3)
    camera, rope = scene.camera, scene.rope
    like = replace(
        scene,
        clock=replace(scene.clock, start_s=0.05, duration_s=0.1, after_s=0.0),
        camera=replace(
            camera,
            size_px=(640, 360),
            f_px=halved(camera.f_px),
            centre_px=halved(camera.centre_px),
            frames_per_s=15.0,
            subframes=1,
        ),
        colour={**scene.colour, "cherry": "#d71e3c"},
        rope=replace(rope, bead_colours=("red", "cherry")),
    )
    film(like, tmp_path)
    run, truth = read_run(tmp_path), read_truth(tmp_path)
    facts = read_facts(run.clip)
    told: list[str] = []
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts, told.append)
    for frame in read_frames(facts):
        tracker.see(frame, camera_of(tmp_path, truth.iloc[frame.index], (0.0, 0.0)))
        # Told with the first picture, and only then.
        assert len(told) == 1
    assert "red and cherry" in told[0]
    assert re.search(r"wear #[0-9a-f]{6} in place of cherry", told[0])
    _, note = tracker.tracks()
    assert note.status == "partly"
    assert told[0] in note.warnings


@pytest.mark.parametrize("name", ["flat-match", "sled-link", "hand-held", "hitch-slips"])
def test_nothing_is_said_of_colours_that_differ(name: str) -> None:
    folder = SAMPLE_CLIPS / name
    run, truth = read_run(folder), read_truth(folder)
    facts = read_facts(folder / "clip.mp4")
    told: list[str] = []
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts, told.append)
    for frame in islice(read_frames(facts), 2):
        tracker.see(frame, camera_of(folder, truth.iloc[frame.index], (0.0, 0.0)))
    assert told == []
    assert not any("told apart" in w for w in tracker.tracks()[1].warnings)
