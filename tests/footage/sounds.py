"""Small clips with sound, made for the tests."""

from fractions import Fraction
from pathlib import Path
from typing import cast

import av
import numpy as np
import numpy.typing as npt
from av.audio.stream import AudioStream

from tests.footage.clips import picture

RATE_HZ = 48000
FloatArray = npt.NDArray[np.float64]


def room(length_s: float, noise: float, seed: int = 3) -> FloatArray:
    """The noise of a room with a hum in it."""
    count = round(length_s * RATE_HZ)
    white = np.random.default_rng(seed).standard_normal(count)
    return noise * (white + np.sin(2 * np.pi * 100 * np.arange(count) / RATE_HZ))


def add_beep(
    samples: FloatArray,
    at_s: float,
    level: float,
    pitch_Hz: float = 1000.0,
    rise_s: float = 0.002,
    lasts_s: float = 0.3,
) -> None:
    """Add a beep whose level rises in a straight line from nothing at ``at_s``."""
    since_s = np.arange(len(samples)) / RATE_HZ - at_s
    on = (since_s >= 0) & (since_s < lasts_s)
    samples[on] += (level * np.clip(since_s / rise_s, 0, 1) * np.sin(2 * np.pi * pitch_Hz * since_s))[on]


def write_with_sound(
    path: Path,
    samples: FloatArray,
    *,
    codec: str = "aac",
    pictures_from_tick: int = 0,
    pictures: int = 45,
    sound_from_s: float = 0.0,
) -> Path:
    """A clip of 30 pictures a second, the first at the given tick of 1/90000 s, with one channel of sound."""
    with av.open(str(path), "w") as container:
        video = container.add_stream("libx264", rate=30)
        video.width, video.height, video.pix_fmt = 160, 96, "yuv420p"
        video.codec_context.time_base = Fraction(1, 90000)
        video.options = {"crf": "30", "bf": "0", "g": "8", "preset": "ultrafast"}
        audio = cast("AudioStream", container.add_stream(codec, rate=RATE_HZ))
        audio.layout = "mono"
        kind = {"aac": "fltp", "libopus": "flt", "pcm_s16le": "s16"}[codec]
        for index in range(pictures):
            frame = av.VideoFrame.from_ndarray(picture(index), format="rgb24").reformat(format="yuv420p")
            frame.pts, frame.time_base = pictures_from_tick + 3000 * index, Fraction(1, 90000)
            container.mux(video.encode(frame))
        for start in range(0, len(samples), 960):
            block = samples[start : start + 960].astype(np.float32)[None]
            if kind == "s16":
                block = np.clip(block * 32767, -32768, 32767).round().astype(np.int16)
            piece = av.AudioFrame.from_ndarray(block, format=kind, layout="mono")
            piece.sample_rate = RATE_HZ
            piece.pts, piece.time_base = start + round(sound_from_s * RATE_HZ), Fraction(1, RATE_HZ)
            container.mux(audio.encode(piece))
        container.mux([*video.encode(None), *audio.encode(None)])
    return path
