"""Runs of an evening in one clip: found by what moves and by their start signals, against the filmed truth."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from matchvision.cli.runlist import tell_runs
from matchvision.filming import demo_scene, film_evening
from matchvision.filming.equipment import Lamp, Sound
from matchvision.filming.scene import Clock, Scene
from matchvision.footage import hear_start, read_facts
from matchvision.footage.phases import Phase
from matchvision.footage.runs import find_runs, join_signs
from matchvision.footage.sound import SoundOnset
from matchvision.records.motion import StartSignal
from matchvision.sheets import load_run


def scenes() -> list[Scene]:
    """Two short matches by one small, slow camera; each is started by horn and lamp."""
    base = demo_scene(4)
    camera = replace(base.camera, size_px=(480, 270), f_px=(372.0, 372.6), centre_px=(241.0, 133.5), frames_per_s=20.0)
    told = replace(base, camera=camera, thing=(), sound=Sound(kind="horn"), lamp=Lamp(at_m=(-0.5, 0.7, 0.05)))
    one = replace(told, name="first", clock=Clock(start_s=0.83, duration_s=1.7, after_s=0.3, told_by="lamp"))
    two = replace(told, name="second", clock=Clock(start_s=1.17, duration_s=1.9, after_s=0.3, told_by="lamp"))
    return [one, two]


@pytest.mark.slow
def test_runs_of_a_filmed_evening_are_found(tmp_path: Path) -> None:
    filmed = film_evening(scenes(), tmp_path / "evening", pause_s=2.0)
    clip = tmp_path / "evening" / "clip.mp4"
    facts = read_facts(clip)
    found = find_runs(facts, load_run(tmp_path / "evening" / "second").sheet)
    assert found.lone_sounds == ()
    assert len(found.runs) == 2
    for scene, run in zip(filmed, found.runs, strict=True):
        start_s = json.loads((tmp_path / "evening" / scene.name / "truth.json").read_text())["time"][
            "match_start_clip_s"
        ]
        assert run.sound is not None
        assert run.lamp is not None
        assert run.moves is not None
        assert run.sound.clip_s == pytest.approx(start_s, abs=0.003)
        assert abs(run.lamp.clip_s - start_s) < 2 * run.lamp.u_s
        assert run.moves.from_s - 0.15 < scene.end_s
        assert start_s - 0.15 < run.moves.from_s < start_s + 1.5
        # What the suggested lines make of the clip: this sound and no other.
        assert run.from_s < start_s < scene.end_s < run.until_s + 0.5
        assert hear_start(facts, run.from_s, run.until_s).clip_s == run.sound.clip_s
    first, second = found.runs
    assert first.until_s <= second.from_s
    said = tell_runs(found)
    assert said.count("found by motion and start sound and start lamp") == 2
    assert said.count('start = "lamp"') == 2
    # Without a sheet nobody knows where the lamp stands: the sound remains.
    assert tell_runs(find_runs(facts)).count('start = "sound"') == 2


def beep(clip_s: float, loudness_dB: float = 0.0) -> SoundOnset:
    return SoundOnset(clip_s, 0.001, loudness_dB)


def test_each_signal_goes_to_the_motion_after_it() -> None:
    phases = [Phase(2.0, 4.0), Phase(20.0, 28.0), Phase(60.0, 68.0)]
    sounds = [*(beep(s) for s in (16.5, 17.5, 18.5, 19.5)), beep(30.0), beep(59.0, -9.0), beep(64.0, -15.0), beep(90.0)]
    found = join_signs(phases, sounds, [], 100.0, duration_s=10.0)
    setting_up, countdown, quieter = found.runs
    assert not setting_up.is_signalled
    assert countdown.sound is not None
    assert countdown.sound.clip_s == 19.5
    # Its part reaches back to before the countdown and on to after its time: the end signal lies in it.
    assert (countdown.from_s, countdown.until_s) == (15.0, 30.5)
    assert [s.clip_s for s in countdown.sounds] == [16.5, 17.5, 18.5, 19.5, 30.0]
    assert countdown.sound_number == 4
    # A fainter start is told by being louder than the rest of its own part.
    assert quieter.sound is not None
    assert (quieter.sound.clip_s, quieter.sound_number) == (59.0, None)
    assert [s.clip_s for s in found.lone_sounds] == [90.0]
    said = tell_runs(found)
    assert "# run 1, found by motion and start sound: something moves from 20.0 s to 28.0 s" in said
    assert "sound_number = 4    # of 5 about as loud: 16.500 s, 17.500 s, 18.500 s, 19.500 s, 30.000 s" in said
    assert "# motion from 2.0 s to 4.0 s without a start signal, setting up perhaps" in said
    assert "nothing moves after it: 90.000 s" in said


def test_a_lamp_tells_of_a_run_in_which_nothing_moves() -> None:
    lit = [StartSignal(10.0, 0.005, "the start lamp"), StartSignal(40.0, 0.005, "the start lamp")]
    found = join_signs([Phase(10.3, 18.0)], [beep(10.02)], lit, 60.0, duration_s=8.0)
    moving, held = found.runs
    assert (moving.moves, held.moves) == (Phase(10.3, 18.0), None)
    assert (held.from_s, held.until_s) == (38.5, 49.0)
    said = tell_runs(found)
    assert "found by start lamp: the lamp lights at 40.000 s" in said
    # Both signs of one start tell the phone's own delay.
    assert "sound_delay_s = { value = 0.020, u = 0.006 }" in said


def test_parts_do_not_overlap() -> None:
    found = join_signs([Phase(5.0, 12.0), Phase(13.6, 20.0), Phase(40.0, 48.0)], [], [], 50.0)
    assert [(round(r.from_s, 2), round(r.until_s, 2)) for r in found.runs] == [(3.5, 12.8), (12.8, 21.0), (38.5, 49.0)]
    assert tell_runs(found).count('start = "first-motion"') == 3
