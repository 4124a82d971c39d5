"""The clip's sound: a room, motors that whirr while they drive, and the start signal."""

import numpy as np

from matchvision.filming.arrays import Array
from matchvision.filming.course import Course
from matchvision.filming.equipment import Sound
from matchvision.filming.recording import SOUND_RATE_Hz
from matchvision.filming.scene import Scene

RISE_S = 0.001  # the signal's level rises to its full size in so long
HORN_PARTIALS = ((1, 1.0), (2, 0.7), (3, 0.5), (4, 0.4), (5, 0.25))


def sound_track(scene: Scene, course: Course, first: int, stop: int) -> Array:
    """Samples ``first`` to ``stop`` of the clip's 48 kHz, −1 to 1; only the room where the scene has no start sound.

    Notes
    -----
    The start signal's first sample that is not zero follows its stated time within one sample.

    Checked by: tests/filming/test_signals.py::test_the_start_sound_is_in_the_clip_when_it_is_said_to_be
    """
    sound = scene.sound if scene.sound is not None else Sound()
    count = stop - first
    generator = np.random.default_rng([scene.seed, 5])
    clip_s = np.arange(first, stop) / SOUND_RATE_Hz
    room = _softened(generator.standard_normal(count), 12) + 0.3 * np.sin(2 * np.pi * 100 * clip_s)
    drives = [np.interp(clip_s, course.clip_s, state.share) for state in course.machines.values()]
    whirr = np.sum(drives, axis=0) * _softened(generator.standard_normal(count), 3)
    track = sound.noise_ratio * (room + 2.0 * whirr)
    at_s = scene.start_sound_s
    if at_s is not None:
        track += sound.level_ratio * _signal(sound, clip_s - at_s, generator)
    return np.asarray(np.clip(track, -1, 1))


def _signal(sound: Sound, since_s: Array, generator: np.random.Generator) -> Array:
    on = (since_s >= 0) & (since_s < sound.lasts_s)
    rise = np.clip(since_s / RISE_S, 0, 1) * np.clip((sound.lasts_s - since_s) / 0.01, 0, 1)
    if sound.kind == "clap":
        wave = generator.standard_normal(len(since_s)) / 2 * np.exp(-np.maximum(since_s, 0) / 0.02)
    elif sound.kind == "horn":
        wave = np.sum([a * np.sin(2 * np.pi * k * sound.pitch_Hz * since_s) for k, a in HORN_PARTIALS], axis=0) / 2
    else:
        wave = np.sin(2 * np.pi * sound.pitch_Hz * since_s)
    return np.where(on, rise * wave, 0.0)


def _softened(noise: Array, samples: int) -> Array:
    """Noise without its highest tones, at its old size."""
    window = np.hanning(2 * samples + 1)
    return np.convolve(noise, window / np.sqrt((window**2).sum()), mode="same")
