"""Clips of plain blocks whose codes are computed here, in any pixel format, codec, matrix and range."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import cast

import av
import numpy as np
import numpy.typing as npt
from av.video.stream import VideoStream

FloatArray = npt.NDArray[np.float64]

#: Weights of red and blue, and the codes that stand for matrix, primaries and curve in a file (ITU-T H.273).
WEIGHTS = {"bt601": (0.299, 0.114), "bt709": (0.2126, 0.0722), "bt2020": (0.2627, 0.0593)}
CODES = {"bt601": 6, "bt709": 1, "bt2020": 9}
CURVES = {"hlg": 18, "pq": 16, "bt709": 1, "bt601": 6}
#: Chroma step (cols, rows), bits and bytes of the pixel formats.
FORMATS = {
    "yuv420p": ((2, 2), 8),
    "yuvj420p": ((2, 2), 8),
    "yuv422p": ((2, 1), 8),
    "yuv444p": ((1, 1), 8),
    "yuv420p10le": ((2, 2), 10),
    "yuv422p10le": ((2, 1), 10),
    "yuv422p12le": ((2, 1), 12),
}


def blocks(cols: int, rows: int) -> FloatArray:
    """Coded red, green, blue, 0 to 1: grey, with a red block, a blue block and a white one at known places."""
    rgb = np.full((rows, cols, 3), 0.35)
    rgb[8:40, 8:72] = (0.82, 0.10, 0.12)
    rgb[8:40, 88:152] = (0.10, 0.15, 0.80)
    rgb[56:88, 8:72] = 0.9
    return rgb


def codes_of(rgb: FloatArray, matrix: str, full_range: bool) -> FloatArray:
    """Luma, Cb and Cr in 8-bit codes, not rounded (ITU-R BT.601, BT.709, BT.2020)."""
    weight_red, weight_blue = WEIGHTS[matrix]
    luma = rgb @ np.array([weight_red, 1 - weight_red - weight_blue, weight_blue])
    cb, cr = (rgb[..., 2] - luma) / (2 * (1 - weight_blue)), (rgb[..., 0] - luma) / (2 * (1 - weight_red))
    if full_range:
        return np.stack([255 * luma, 128 + 255 * cb, 128 + 255 * cr])
    return np.stack([16 + 219 * luma, 128 + 224 * cb, 128 + 224 * cr])


def write_coded(
    path: Path,
    codec: str,
    pixel_format: str,
    rgb: FloatArray | Callable[[int], FloatArray],
    *,
    matrix: str = "bt709",
    full_range: bool = False,
    curve: str = "bt709",
    pictures: int = 3,
    options: dict[str, str] | None = None,
    stated: bool = True,
) -> Path:
    """Write pictures (rows, cols, 3) of coded red, green, blue; chroma midway between the columns and rows it spans."""
    paint = rgb if callable(rgb) else lambda _: rgb
    rows, cols = paint(0).shape[:2]
    with av.open(str(path), "w") as container:
        stream = cast("VideoStream", container.add_stream(codec, rate=30))
        stream.width, stream.height, stream.pix_fmt = cols, rows, pixel_format
        stream.options = dict(options or {})
        tags = {"color_trc": CURVES[curve], "color_primaries": CODES[matrix], "colorspace": CODES[matrix]}
        if stated:
            for name, value in {**tags, "color_range": 2 if full_range else 1}.items():
                setattr(stream.codec_context, name, value)
        for index in range(pictures):
            frame = av.VideoFrame(cols, rows, pixel_format)
            _fill(frame, codes_of(paint(index), matrix, full_range), pixel_format)
            frame.pts, frame.time_base = index, Fraction(1, 30)
            if stated:
                for name, value in {**tags, "color_range": 2 if full_range else 1}.items():
                    setattr(frame, name, value)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def _fill(frame: av.VideoFrame, codes: FloatArray, pixel_format: str) -> None:
    (step_col, step_row), bits = FORMATS[pixel_format]
    for number, (plane, values) in enumerate(zip(frame.planes, codes, strict=True)):
        small = values
        if number > 0 and (step_col, step_row) != (1, 1):
            rows, cols = values.shape
            padded = np.pad(values, ((0, -rows % step_row), (0, -cols % step_col)), mode="edge")
            small = padded.reshape(padded.shape[0] // step_row, step_row, -1, step_col).mean(axis=(1, 3))
        kind = np.uint8 if bits == 8 else np.uint16
        whole = np.zeros((plane.buffer_size // plane.line_size, plane.line_size // np.dtype(kind).itemsize), dtype=kind)
        whole[: small.shape[0], : small.shape[1]] = np.clip((small * 2 ** (bits - 8)).round(), 0, 2**bits - 1)
        plane.update(whole.tobytes())
