"""Start sound and start lamp of filmed clips, against their truth."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest

from matchvision.filming import demo_scene, film
from matchvision.filming.equipment import Lamp, Sound
from matchvision.filming.scene import Clock
from matchvision.footage import LampWatch, hear_start, read_facts, read_frames

START_S = 0.6137  # on no frame's and no sound block's edge


def film_signals(folder: Path, kind: Literal["beep", "horn", "clap"], readout_s: float) -> Path:
    scene = demo_scene(4)
    camera = replace(
        scene.camera,
        size_px=(320, 180),
        f_px=(248.0, 248.4),
        centre_px=(160.5, 89.0),
        frames_per_s=50.0,
        readout_s=readout_s,
    )
    told = replace(
        scene,
        camera=camera,
        clock=Clock(start_s=START_S, duration_s=0.3, after_s=0.1, told_by="lamp"),
        thing=(),
        sound=Sound(kind=kind),
        lamp=Lamp(at_m=(-0.5, 0.7, 0.05), radius_m=0.04),
    )
    film(told, folder)
    return folder


@pytest.mark.parametrize(("kind", "readout_s"), [("beep", 0.0), ("horn", 0.012), ("clap", 0.0)])
def test_filmed_starts_agree_with_their_truth(
    tmp_path: Path, kind: Literal["beep", "horn", "clap"], readout_s: float
) -> None:
    folder = film_signals(tmp_path / "run", kind, readout_s)
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    facts = read_facts(folder / "clip.mp4")
    # The filmed phone's sound is on time, which nobody knows unless it was measured.
    heard = hear_start(facts, delay_s=(0.0, 0.0))
    assert heard.clip_s == pytest.approx(START_S, abs=0.003)
    assert abs(heard.clip_s - START_S) < 1.96 * heard.u_s < 0.009
    assert hear_start(facts).u_s > 0.02
    watch = LampWatch(facts, tuple(truth["lamp"]["first_picture_px"]), 2.0, readout_s)
    for frame in read_frames(facts):
        watch.see(frame)
    lit = watch.signal()
    assert abs(lit.clip_s - START_S) < 2 * lit.u_s
    assert lit.u_s < 0.5 / 50


def test_a_sound_soon_after_the_clip_begins_is_dated(tmp_path: Path) -> None:
    scene = demo_scene(4)
    camera = replace(scene.camera, size_px=(320, 180), f_px=(248.0, 248.4), centre_px=(160.5, 89.0), frames_per_s=50.0)
    early = replace(
        scene, camera=camera, clock=Clock(start_s=0.2137, duration_s=0.3, after_s=0.1), thing=(), sound=Sound()
    )
    film(early, tmp_path / "run")
    assert hear_start(read_facts(tmp_path / "run" / "clip.mp4")).clip_s == pytest.approx(0.2137, abs=0.003)
