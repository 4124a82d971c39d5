"""The phone's end of it: gamma, noise, colour planes and H.264."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from av.container import OutputContainer
from numpy.typing import NDArray

from matchvision.filming.arrays import Array, Picture
from matchvision.filming.equipment import Camera

Area = tuple[int, int, int, int]

TIME_BASE = Fraction(1, 90_000)  # seconds a tick, as phones count
# ITU-R BT.709: luma weights and limited range.
KR, KB = 0.2126, 0.0722
SOUND_RATE_Hz = 48_000
LEVELS = 8192
NOISE_PLANES = 3
NOISE_SPARE_PX = 64


def _srgb_curve() -> Picture:
    """Encoded value, 0 to 255, of linear light in steps of 1 / LEVELS."""
    light = np.arange(LEVELS + 1) / LEVELS
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(255 * value, dtype=np.float32)


CURVE = _srgb_curve()


def encode_light(linear: Picture) -> Picture:
    """Linear light to encoded R'G'B', 0 to 255 (IEC 61966-2-1), not rounded."""
    index = np.clip(linear * LEVELS + 0.5, 0, LEVELS).astype(np.uint16)
    return np.asarray(CURVE[index])


def planes_from_rgb(rgb: Picture) -> tuple[Picture, Picture, Picture]:
    """Y', Cb and Cr in limited range, not rounded; chroma at half size.

    Notes
    -----
    ITU-R BT.709: Y' = 0.2126 R' + 0.7152 G' + 0.0722 B', Cb = (B' − Y') / 1.8556, Cr = (R' − Y') / 1.5748, with
    16 + 219 Y' and 128 + 224 C. A chroma sample is the mean of the 2 × 2 pixels about it (centre siting).

    Checked by: tests/filming/test_recording.py::test_grey_and_primaries_follow_bt709
    """
    red, green, blue = rgb[..., 0], rgb[..., 1], rgb[..., 2]
    luma = KR * red + (1 - KR - KB) * green + KB * blue
    half = (rgb.shape[1] // 2, rgb.shape[0] // 2)
    cb = cv2.resize((blue - luma) * np.float32(224 / 255 / (2 * (1 - KB))), half, interpolation=cv2.INTER_AREA) + 128
    cr = cv2.resize((red - luma) * np.float32(224 / 255 / (2 * (1 - KR))), half, interpolation=cv2.INTER_AREA) + 128
    return (
        np.asarray(luma * np.float32(219 / 255) + 16, dtype=np.float32),
        np.asarray(cb, dtype=np.float32),
        np.asarray(cr, dtype=np.float32),
    )


class Sensor:
    """Adds noise and rounds to eight bits."""

    def __init__(self, size_px: tuple[int, int], noise_levels: float, generator: np.random.Generator) -> None:
        width, height = size_px
        self.generator = generator
        # Independent noise of equal size in R', G' and B', carried to the planes; chroma means four pixels.
        luma = noise_levels * 219 / 255 * np.sqrt(KR**2 + (1 - KR - KB) ** 2 + KB**2)
        blue = noise_levels * 224 / 255 * np.sqrt(KR**2 + (1 - KR - KB) ** 2 + (1 - KB) ** 2) / (2 * (1 - KB)) / 2
        red = noise_levels * 224 / 255 * np.sqrt((1 - KR) ** 2 + (1 - KR - KB) ** 2 + KB**2) / (2 * (1 - KR)) / 2
        shape, half = (height, width), (height // 2, width // 2)
        self.noise = [self._planes(shape, luma), self._planes(half, blue), self._planes(half, red)]
        self.shapes = [shape, half, half]

    def _planes(self, shape: tuple[int, int], spread: float) -> list[Picture]:
        spare = (shape[0] + NOISE_SPARE_PX, shape[1] + NOISE_SPARE_PX)
        return [
            np.float32(spread) * self.generator.standard_normal(spare, dtype=np.float32) for _ in range(NOISE_PLANES)
        ]

    def read(self, planes: tuple[Picture, Picture, Picture]) -> NDArray[np.uint8]:
        """One picture as stacked 4:2:0 planes, shape (3/2 rows, columns)."""
        height, width = self.shapes[0]
        out = np.empty((height * 3 // 2, width), np.uint8)
        flat = out.reshape(-1)
        start = 0
        for plane, noise, shape in zip(planes, self.noise, self.shapes, strict=True):
            which = int(self.generator.integers(NOISE_PLANES))
            dy, dx = (int(d) for d in self.generator.integers(0, NOISE_SPARE_PX + 1, 2))
            grain = noise[which][dy : dy + shape[0], dx : dx + shape[1]]
            stop = start + shape[0] * shape[1]
            flat[start:stop] = cv2.add(plane, grain, dtype=cv2.CV_8U).reshape(-1)
            start = stop
        return out


def develop(exposures: Iterable[tuple[Picture, Picture, Area]], sensor: Sensor) -> Iterator[NDArray[np.uint8]]:
    """Pictures in linear light to noisy 4:2:0 planes; the backdrop is converted only when it is a new one."""
    known: Picture | None = None
    still: tuple[Picture, Picture, Picture] | None = None
    for backdrop, picture, (left, top, right, bottom) in exposures:
        if still is None or known is not backdrop:
            still, known = planes_from_rgb(encode_light(backdrop)), backdrop
        moving = planes_from_rgb(encode_light(picture))
        windows = [np.s_[top:bottom, left:right]] + 2 * [np.s_[top // 2 : bottom // 2, left // 2 : right // 2]]
        kept = [plane[window].copy() for plane, window in zip(still, windows, strict=True)]
        for plane, window, part in zip(still, windows, moving, strict=True):
            plane[window] = part
        yield sensor.read(still)
        for plane, window, part in zip(still, windows, kept, strict=True):
            plane[window] = part


def write_clip(path: Path, pictures: Iterable[NDArray[np.uint8]], camera: Camera, sound: Array | None = None) -> int:
    """Encode pictures as H.264 in mp4, with a sound track in AAC if there is one, and say how many were written.

    Presentation times are the frame's number over the rate, in ticks of 1/90000 s; the stream is tagged BT.709,
    limited range. Sound: one channel, −1 to 1, 48 kHz, from time zero on.

    Checked by: tests/filming/test_signals.py::test_the_start_sound_is_in_the_clip_when_it_is_said_to_be
    """
    count = 0
    frames_per_s = camera.frames_per_s
    with av.open(
        str(path), "w", format="mp4", options={"movflags": "+faststart", "video_track_timescale": "90000"}
    ) as container:
        stream = container.add_stream("libx264", rate=Fraction(frames_per_s).limit_denominator(1001))
        stream.width, stream.height = camera.size_px
        stream.pix_fmt = "yuv420p"
        stream.time_base = TIME_BASE
        stream.bit_rate = camera.bitrate
        stream.options = {"preset": "veryfast", "bf": "0", "g": "60", "x264-params": "chromaloc=1"}
        context = stream.codec_context
        context.time_base = TIME_BASE
        context.thread_count = 1
        context.color_range = 1
        context.colorspace = 1
        context.color_primaries = 1
        context.color_trc = 1
        spoken = iter(()) if sound is None else _sound_packets(container, sound)
        waiting = next(spoken, None)
        for planes in pictures:
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.time_base = TIME_BASE
            frame.pts = round(count * 90_000 / frames_per_s)
            for packet in stream.encode(frame):
                container.mux(packet)
            count += 1
            while waiting is not None and waiting[0] <= count / frames_per_s:
                container.mux(waiting[1])
                waiting = next(spoken, None)
        for packet in stream.encode():
            container.mux(packet)
        if waiting is not None:
            container.mux(waiting[1])
        for _, packet in spoken:
            container.mux(packet)
    return count


def _sound_packets(container: OutputContainer, sound: Array) -> "Iterator[tuple[float, av.Packet[av.AudioStream]]]":
    """Packets of an AAC track, each with the time [s] of its first sample."""
    stream = container.add_stream("aac", rate=SOUND_RATE_Hz, layout="mono")
    stream.bit_rate = 96_000
    block = 1024
    for start in range(0, len(sound), block):
        frame = av.AudioFrame.from_ndarray(sound[None, start : start + block].astype(np.float32), "fltp", "mono")
        frame.sample_rate, frame.pts, frame.time_base = SOUND_RATE_Hz, start, Fraction(1, SOUND_RATE_Hz)
        for packet in stream.encode(frame):
            yield start / SOUND_RATE_Hz, packet
    for packet in stream.encode():
        yield len(sound) / SOUND_RATE_Hz, packet
