"""The start is heard and seen when the truth says so; the light changes as stated."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest

from matchvision.filming import demo_scene, film, frame_times, place_everything, play, project
from matchvision.filming.equipment import Lamp, Light, Sound
from matchvision.filming.lamp import lit_share
from matchvision.filming.light import changes, gains
from matchvision.filming.pictures import Studio, exposures
from matchvision.filming.scene import Clock, Scene
from matchvision.filming.sound import sound_track
from matchvision.sheets import load_run

START_S = 0.2137  # on no frame's and no sound block's edge


def signal_scene() -> Scene:
    scene = demo_scene(4)
    camera = replace(scene.camera, size_px=(320, 180), f_px=(248.0, 248.4), centre_px=(160.5, 89.0), frames_per_s=50.0)
    return replace(
        scene, camera=camera, clock=Clock(start_s=START_S, duration_s=0.2, after_s=0.1, told_by="lamp"), thing=(),
        sound=Sound(kind="beep"), lamp=Lamp(at_m=(-0.5, 0.7, 0.05), radius_m=0.04),
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("signals") / "run"
    film(signal_scene(), folder)
    return folder


def heard(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Times and samples of a clip's sound."""
    times, samples = [], []
    with av.open(str(path)) as container:
        assert container.streams.audio[0].codec_context.name == "aac"
        for frame in container.decode(audio=0):
            assert frame.time is not None
            assert frame.sample_rate == 48_000
            times.append(frame.time + np.arange(frame.samples) / 48_000)
            samples.append(frame.to_ndarray()[0])
    return np.concatenate(times), np.concatenate(samples)


def test_the_start_sound_is_in_the_clip_when_it_is_said_to_be(folder: Path) -> None:
    """Decoded again: half the signal's level is passed within a millisecond of its time; no picture is lost."""
    times, samples = heard(folder / "clip.mp4")
    loud = times[np.flatnonzero(np.abs(samples) > 0.15)[0]]
    assert json.loads((folder / "truth.json").read_text())["time"]["start_sound_clip_s"] == START_S
    assert 0 < loud - START_S < 0.001
    assert np.abs(samples[times < START_S - 0.02]).max() < 0.03
    with av.open(str(folder / "clip.mp4")) as container:
        pts = [frame.pts for frame in container.decode(video=0)]
    assert pts == [1800 * k for k in range(signal_scene().frames)]


@pytest.mark.parametrize("kind", ["beep", "horn", "clap"])
def test_every_kind_of_signal_begins_at_its_time(kind: str) -> None:
    scene = signal_scene()
    course = play(scene)
    told = replace(scene, sound=Sound(kind=kind, at_s=0.31, noise_ratio=0.0))  # type: ignore[arg-type]
    track = sound_track(told, course, 0, 38_400)
    first = np.flatnonzero(track)[0] / 48_000
    assert 0 <= first - 0.31 <= 2.1 / 48_000
    assert np.abs(track).max() > 0.1
    assert len(track) == 38_400
    quiet = sound_track(replace(scene, sound=None), course, 0, 38_400)
    assert 0 < np.abs(quiet).max() < 0.05


def test_the_lamp_goes_on_where_and_when_the_truth_says(folder: Path) -> None:
    facts = json.loads((folder / "truth.json").read_text())
    assert facts["time"]["lamp_on_clip_s"] == START_S
    col, row = np.round(facts["lamp"]["first_picture_px"]).astype(int)
    with av.open(str(folder / "clip.mp4")) as container:
        light = [float(f.to_ndarray(format="gray")[row - 1 : row + 2, col - 1 : col + 2].mean())
                 for f in container.decode(video=0)]  # fmt: skip
    shares = np.array([lit_share(signal_scene(), k / 50) for k in range(len(light))])
    assert set(shares[:10]) == {0.0}
    assert 0 < shares[11] <= 1
    assert max(light[:10]) < 130
    assert min(light[12:]) > 215
    run = load_run(folder)
    assert run.sheet.clock is not None
    assert run.sheet.clock.start == "lamp"
    place = tomllib.loads((folder / "run.toml").read_text())["clock"]["lamp_at_px"]
    assert np.abs(np.array(place) - facts["lamp"]["first_picture_px"]).max() <= 0.051


def test_a_frame_that_sees_the_lamp_go_on_shows_part_of_it() -> None:
    scene = replace(signal_scene(), lamp=Lamp(at_m=(0.0, 0.7, 0.05), on_s=0.2))
    scene = replace(scene, camera=replace(scene.camera, exposure_s=0.01))
    assert lit_share(scene, 0.2) == pytest.approx(0.5)
    assert lit_share(scene, 0.2025) == pytest.approx(0.75)
    assert [lit_share(scene, t) for t in (0.19, 0.21)] == [0.0, 1.0]
    rolling = replace(scene, camera=replace(scene.camera, readout_s=0.02))
    assert lit_share(rolling, 0.2) < 0.2  # the lamp stands high in the picture, where rows come early


def test_light_flickers_and_drifts_as_stated() -> None:
    """Against the mean of the lamp's own light over each row's exposure."""
    base = signal_scene()
    light = Light(brightness=0.8, flicker_ratio=0.3, flicker_Hz=100.0, drift_ratio=0.1, drift_period_s=5.0)
    camera = replace(base.camera, exposure_s=0.004, readout_s=0.016)
    scene = replace(base, light=light, camera=camera)
    for pts_s in (0.0, 1.237):
        gain = gains(scene, pts_s)[:, 0]
        for row in (0, 37, 179):
            middle = pts_s + (row / 179 - 0.5) * 0.016
            within = middle + 0.004 * ((np.arange(4000) + 0.5) / 4000 - 0.5)
            mean = np.mean(1 + 0.3 * np.cos(2 * np.pi * 100 * within))
            expected = 0.8 * mean * (1 + 0.1 * np.sin(2 * np.pi * pts_s / 5.0))
            np.testing.assert_allclose(gain[row], expected, rtol=1e-5)
    hidden = gains(replace(scene, camera=replace(camera, exposure_s=0.02)), 0.5)
    assert np.ptp(hidden) < 1e-6
    assert not changes(base)


def test_tint_and_brightness_show_in_the_picture_and_leave_the_shapes() -> None:
    base = replace(signal_scene(), lamp=None)
    warm = replace(base, light=replace(base.light, brightness=0.5, tint="#ffd8b0"))
    course = play(base)
    places = place_everything(base, course, frame_times(base)[:2])
    pictures = []
    for scene in (base, warm):
        studio = Studio(scene, course, places, project(scene, course, places))
        pictures.append(list(exposures(studio, 2)))
    (plain, part, area), (dim, dim_part, dim_area) = (shown[1] for shown in pictures)
    assert area == dim_area
    ratio = (dim / plain).reshape(-1, 3)
    np.testing.assert_allclose(ratio, np.tile(ratio[0], (len(ratio), 1)), rtol=1e-4)
    np.testing.assert_allclose(dim_part / part, np.broadcast_to(ratio[0], part.shape), rtol=1e-4)
    assert ratio[0] @ [0.2126, 0.7152, 0.0722] == pytest.approx(0.5, rel=1e-5)
    assert ratio[0, 0] > ratio[0, 1] > ratio[0, 2]
    assert pictures[1][0][0] is pictures[1][1][0]  # steady light: the backdrop is lit once
