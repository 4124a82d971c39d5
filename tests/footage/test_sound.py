"""Start sounds are dated on the pictures' time line, and doubtful ones are listed."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.footage import read_facts, sound
from matchvision.footage.choosing import USUAL_DELAY_S, hear_start
from matchvision.footage.hearing import Sound
from matchvision.footage.sound import find_sound_onsets
from matchvision.records.frames import ClipFacts
from tests.footage.clips import write_clip
from tests.footage.sounds import RATE_HZ, FloatArray, add_beep, room, write_with_sound

Hear = Callable[[FloatArray], None]
FACTS = ClipFacts(Path("clip.mp4"), "", "h264", "yuv420p", 1280, 720, 0, False, 30.0, 10.0, "bt709", False, "")


@pytest.fixture
def hear(monkeypatch: pytest.MonkeyPatch) -> Hear:
    def listen(samples: FloatArray) -> None:
        monkeypatch.setattr(sound, "read_sound", lambda _: Sound(samples, RATE_HZ, 0.25))

    return listen


@pytest.mark.parametrize(
    ("name", "codec"), [("a.mp4", "aac"), ("a.mkv", "aac"), ("a.mkv", "libopus"), ("a.mov", "pcm_s16le")]
)
@pytest.mark.parametrize(("first_tick", "sound_from_s"), [(0, 0.0), (45000, 0.0), (0, 0.35)])
def test_a_beep_is_dated_in_every_container(
    tmp_path: Path, name: str, codec: str, first_tick: int, sound_from_s: float
) -> None:
    samples = room(1.5, 0.004)
    add_beep(samples, 0.8, 0.3)
    clip = write_with_sound(
        tmp_path / name, samples, codec=codec, pictures_from_tick=first_tick, sound_from_s=sound_from_s
    )
    (onset,) = find_sound_onsets(read_facts(clip))
    assert onset.clip_s == pytest.approx(0.8 + sound_from_s - first_tick / 90000, abs=0.0015)
    assert onset.u_s < 0.001


def test_pictures_cut_away_by_an_edit_list_move_the_sound_along(tmp_path: Path) -> None:
    samples = room(1.5, 0.004)
    add_beep(samples, 0.8, 0.3)
    clip = write_with_sound(tmp_path / "edited.mp4", samples, pictures_from_tick=-9000)
    # The first three pictures are hidden: clip time counts from the one at time zero.
    assert hear_start(read_facts(clip)).clip_s == pytest.approx(0.8, abs=0.0015)


def test_onsets_are_dated_within_their_uncertainty(hear: Hear) -> None:
    rng = np.random.default_rng(7)
    errors = []
    for _ in range(40):
        at_s, rise_s = rng.uniform(0.7, 1.2), rng.choice([0.0005, 0.003, 0.010])
        level, pitch_Hz = 0.1 * 10 ** rng.uniform(0, 0.7), rng.uniform(500, 3500)
        samples = room(1.8, 0.004, seed=int(rng.integers(1 << 30)))
        add_beep(samples, at_s, level, pitch_Hz, rise_s)
        hear(samples)
        (onset,) = find_sound_onsets(FACTS)
        errors.append(((onset.clip_s - 0.25 - at_s), onset.u_s))
    error_s, u_s = np.array(errors).T
    assert np.abs(error_s).max() < 0.003
    assert np.mean(np.abs(error_s) < 2 * u_s) >= 0.95


def test_a_clap_among_whirring_motors_is_dated(hear: Hear) -> None:
    rng = np.random.default_rng(8)
    samples = room(3.0, 0.004)
    since_s = np.arange(len(samples)) / RATE_HZ - 1.0
    samples += np.where(since_s >= 0, 0.3 * rng.standard_normal(len(samples)) * np.exp(-since_s.clip(0) / 0.02), 0)
    # Motors that start 0.2 s later and grow loud over half a second.
    samples += 0.05 * rng.standard_normal(len(samples)) * np.clip((since_s - 0.2) / 0.5, 0, 1)
    hear(samples)
    signal = hear_start(FACTS)
    assert signal.clip_s == pytest.approx(1.25, abs=0.003)
    # What the phone's own delay may be outweighs the rest; where it was measured, milliseconds are left.
    assert signal.u_s == pytest.approx(USUAL_DELAY_S / np.sqrt(3), rel=0.05)
    assert "sound" in signal.source
    assert 0.002 < hear_start(FACTS, delay_s=(0.0, 0.0)).u_s < 0.006


def test_a_measured_delay_is_taken_off(hear: Hear) -> None:
    samples = room(3.0, 0.004)
    add_beep(samples, 1.0, 0.3)
    hear(samples)
    usual, measured = hear_start(FACTS), hear_start(FACTS, delay_s=(0.030, 0.005))
    assert usual.clip_s - measured.clip_s == pytest.approx(0.030)
    assert 0.005 < measured.u_s < 0.0065
    assert measured.u_s < usual.u_s


@pytest.mark.parametrize("rise_s", [0.001, 0.02, 0.05, 0.1])
@pytest.mark.parametrize("shape", ["straight", "cosine", "exponential"])
def test_a_horn_that_swells_is_dated_within_its_uncertainty(hear: Hear, rise_s: float, shape: str) -> None:
    """Whatever the shape of its rise, early or late."""
    samples = room(3.0, 0.004)
    since_s = np.arange(len(samples)) / RATE_HZ - 1.0
    part = np.clip(since_s / rise_s, 0, 1)
    swell = {"straight": part, "cosine": (1 - np.cos(np.pi * part)) / 2, "exponential": 1 - np.exp(-3 * part)}[shape]
    tone = sum(np.sin(2 * np.pi * k * 330 * since_s) / k for k in range(1, 6))
    samples += np.where((since_s >= 0) & (since_s < 0.6), 0.2 * swell * tone, 0)
    hear(samples)
    onset = max(find_sound_onsets(FACTS), key=lambda o: o.loudness_dB)
    assert abs(onset.clip_s - 1.25) < 1.96 * onset.u_s, (onset.clip_s - 1.25, onset.u_s)
    signal = hear_start(FACTS)
    assert abs(signal.clip_s - 1.25) < 1.96 * signal.u_s


def test_sounds_about_as_loud_are_listed(hear: Hear) -> None:
    samples = room(3.0, 0.004)
    for at_s in (0.9, 1.6, 2.3):
        add_beep(samples, at_s, 0.2)
    hear(samples)
    with pytest.raises(CannotMeasure, match=r"3 sounds .*1\.15. s, 1\.85. s, 2\.55. s") as caught:
        hear_start(FACTS)
    assert "sound_number" in caught.value.do
    assert "start_s" in caught.value.do
    # Only one of them lies in this run's part of the clip.
    assert hear_start(FACTS, from_s=1.5, until_s=2.2).clip_s == pytest.approx(1.85, abs=0.002)


def test_one_of_a_countdown_starts_the_match(hear: Hear) -> None:
    """Three beeps and a higher one, all as loud, at steps of a second, and something quieter between."""
    samples = room(6.0, 0.004)
    for at_s, pitch_Hz in ((1.0, 800.0), (2.0, 800.0), (3.0, 800.0), (4.0, 1600.0)):
        add_beep(samples, at_s, 0.2, pitch_Hz)
    add_beep(samples, 2.5, 0.04, 2500.0)
    hear(samples)
    for number in (4, -1):
        signal = hear_start(FACTS, number=number)
        assert signal.clip_s == pytest.approx(4.25, abs=0.002)
        assert "4 of 4" in signal.source
    assert hear_start(FACTS, number=1).clip_s == pytest.approx(1.25, abs=0.002)
    for number in (5, -5):
        with pytest.raises(CannotMeasure, match=r"4 sounds are about as loud.*quieter ones at 2\.75") as caught:
            hear_start(FACTS, number=number)
        assert "start_s" in caught.value.do


def test_a_quieter_sound_does_not_hinder(hear: Hear) -> None:
    samples = room(3.0, 0.004)
    add_beep(samples, 0.9, 0.05, pitch_Hz=2000)
    add_beep(samples, 1.8, 0.3)
    hear(samples)
    assert hear_start(FACTS).clip_s == pytest.approx(2.05, abs=0.002)
    assert len(find_sound_onsets(FACTS)) == 2


def test_noise_alone_is_refused(hear: Hear) -> None:
    hear(room(3.0, 0.05))
    with pytest.raises(CannotMeasure, match="no sound in the clip sets in"):
        hear_start(FACTS)


def test_a_clip_without_sound_is_refused(tmp_path: Path) -> None:
    facts = read_facts(write_clip(tmp_path / "silent.mp4", range(0, 9000, 3000)))
    with pytest.raises(CannotMeasure, match="no sound"):
        hear_start(facts)
