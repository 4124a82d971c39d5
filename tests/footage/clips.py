"""Small clips made for the tests, with everything about them known."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import cast

import av
import numpy as np
import numpy.typing as npt
from av.video.stream import VideoStream


def picture(index: int, rows: int = 96, cols: int = 160) -> npt.NDArray[np.uint8]:
    """RGB picture that tells its corners apart: red top left, bright top right, its number in grey bottom left."""
    rgb = np.full((rows, cols, 3), 60, dtype=np.uint8)
    rgb[: rows // 4, : cols // 4] = (220, 20, 20)
    rgb[: rows // 4, -cols // 4 :] = (230, 230, 230)
    rgb[-rows // 4 :, : cols // 4] = 20 + 6 * (index % 30)
    return rgb


def write_clip(
    path: Path,
    ticks: Sequence[int],
    *,
    base: Fraction = Fraction(1, 90000),
    rotation_deg: int = 0,
    matrix: Sequence[int] | None = None,
    pixel_format: str = "yuv420p",
    codec: str = "libx264",
    options: dict[str, str] | None = None,
    metadata: dict[str, str] | None = None,
) -> Path:
    """Write pictures 0, 1, … at the given presentation times."""
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"} if metadata else {}) as container:
        container.metadata.update(metadata or {})
        stream = cast("VideoStream", container.add_stream(codec, rate=30))
        stream.width, stream.height, stream.pix_fmt = 160, 96, pixel_format
        stream.codec_context.time_base = base
        stream.options = {**(options or {"crf": "12", "bf": "0", "g": "8"})}
        if rotation_deg:
            stream.set_display_rotation(rotation_deg)
        if matrix is not None:
            stream.set_display_matrix(list(matrix))
        for index, tick in enumerate(ticks):
            frame = av.VideoFrame.from_ndarray(picture(index), format="rgb24").reformat(format=pixel_format)
            frame.pts, frame.time_base = int(tick), base
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path
