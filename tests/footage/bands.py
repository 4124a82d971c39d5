"""Clips of a still scene under lamps on the mains, seen by a rolling shutter of known readout."""

from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
TICKS_PER_S = 90_000


def scene(rng: np.random.Generator, rows: int, cols: int) -> FloatArray:
    """Linear light of a table-like surface with grain and some dark and bright things on it."""
    light = 0.35 + 0.1 * cv2.GaussianBlur(rng.standard_normal((rows, cols)), (0, 0), 1.5)
    for _ in range(12):
        row, col = rng.integers(0, rows - 12), rng.integers(0, cols - 20)
        light[row : row + rng.integers(5, 40), col : col + rng.integers(8, 60)] = rng.uniform(0.02, 0.85)
    return np.clip(light, 0.005, 0.95)


def write_bands(
    path: Path,
    readout_s: float,
    *,
    seed: int = 1,
    frames_per_s: float = 60.0,
    lamp_Hz: float = 100.0,
    ripple: float = 0.06,
    pictures: int = 40,
    size: tuple[int, int] = (320, 180),
    crf: int = 18,
    noise: float = 1.2,
    rotation_deg: int = 0,
    second_lamp: float = 0.0,
    moving: bool = False,
    backwards: bool = False,
) -> Path:
    """Row v of the stored picture is exposed (v/(h − 1) − ½) · readout after the picture's time.

    ``second_lamp`` is the share of light that a lamp on the mains' next phase gives at the right edge, falling to
    nothing at the left one. ``rotation_deg`` is stored as a display matrix, counter-clockwise.
    """
    rng = np.random.default_rng(seed)
    cols, rows = size
    light = scene(rng, rows, cols)
    delay_s = ((np.arange(rows) / (rows - 1) - 0.5) * readout_s)[:, None]
    if backwards:
        delay_s = delay_s[::-1]
    other = second_lamp * np.linspace(0, 1, cols)[None, :]
    phase = rng.uniform(0, 2 * np.pi)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=60)
        stream.width, stream.height, stream.pix_fmt = cols, rows, "yuv420p"
        stream.codec_context.time_base = Fraction(1, TICKS_PER_S)
        stream.options = {"crf": str(crf), "preset": "veryfast", "g": "60", "bf": "0"}
        if rotation_deg:
            stream.set_display_rotation(rotation_deg)
        for index in range(pictures):
            tick = round(index * TICKS_PER_S / frames_per_s)
            turn = 2 * np.pi * lamp_Hz * (tick / TICKS_PER_S + delay_s) + phase
            wave = (1 - other) * np.cos(turn) + other * np.cos(turn + 2 * np.pi / 3)
            shown = light * (1 + ripple * wave)
            if moving:
                left = (7 * index) % (cols - 60)
                shown[rows // 3 : 2 * rows // 3, left : left + 60] = 0.6
            luma = 16 + 219 * np.clip(shown, 0, 1) ** (1 / 2.2) + noise * rng.standard_normal((rows, cols))
            frame = av.VideoFrame(cols, rows, "yuv420p")
            planes = [
                np.clip(luma.round(), 0, 255).astype(np.uint8),
                *(np.full((rows // 2, cols // 2), 128, np.uint8),) * 2,
            ]
            for plane, values in zip(frame.planes, planes, strict=True):
                padded = np.zeros((values.shape[0], plane.line_size), np.uint8)
                padded[:, : values.shape[1]] = values
                plane.update(padded.tobytes())
            frame.pts, frame.time_base = tick, Fraction(1, TICKS_PER_S)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path
