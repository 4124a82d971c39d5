"""From a decoder's picture to upright luma and chroma planes in 8 bits."""

from dataclasses import dataclass
from typing import Final, cast

import numpy as np
import numpy.typing as npt
from av import VideoFrame
from av.sidedata.sidedata import SideDataContainer
from av.sidedata.sidedata import Type as SideDataType
from av.video.plane import VideoPlane
from av.video.reformatter import Colorspace

from matchvision.records.frames import Frame

Plane = npt.NDArray[np.uint8]

#: The matrix by which pictures in red, green and blue are turned into luma and chroma.
RGB_MATRIX: Final = "bt709"
#: Pixel formats whose planes are used as they are: chroma step (cols, rows), bits to drop, bytes a sample, interleaved.
_DIRECT: Final[dict[str, tuple[tuple[int, int], int, int, bool]]] = {
    "yuv420p": ((2, 2), 0, 1, False),
    "yuvj420p": ((2, 2), 0, 1, False),
    "yuv422p": ((2, 1), 0, 1, False),
    "yuvj422p": ((2, 1), 0, 1, False),
    "yuv444p": ((1, 1), 0, 1, False),
    "yuvj444p": ((1, 1), 0, 1, False),
    "nv12": ((2, 2), 0, 1, True),
    "yuv420p10le": ((2, 2), 2, 2, False),
    "yuv422p10le": ((2, 1), 2, 2, False),
    "yuv444p10le": ((1, 1), 2, 2, False),
    "yuv420p12le": ((2, 2), 4, 2, False),
    "yuv422p12le": ((2, 1), 4, 2, False),
    "yuv444p12le": ((1, 1), 4, 2, False),
    "p010le": ((2, 2), 8, 2, True),
}


@dataclass(frozen=True)
class Turn:
    """How a stored picture is made upright: mirrored left to right first, then turned counter-clockwise."""

    quarter_turns: int
    mirrored: bool


def read_turn(picture: VideoFrame) -> Turn:
    """Mirror and quarter turns from the picture's display matrix.

    The matrix maps stored (x, y), y down, to shown by ``x' = a x + c y``, ``y' = b x + d y``; it stands in the
    container in 16.16 fixed point as a b u c d v x y w (ISO/IEC 14496-12, track header). A negative determinant is a
    mirror, which readers drop silently.
    Checked by: tests/footage/test_reading.py::test_turned_and_mirrored_clips_come_upright
    """
    sides = cast("SideDataContainer", picture.side_data)
    for k in range(len(sides)):
        side = sides[k]
        if side.type is SideDataType.DISPLAYMATRIX:
            matrix = np.frombuffer(memoryview(side), dtype=np.int32)
            a, b, c, d = (float(matrix[i]) for i in (0, 1, 3, 4))
            mirrored = a * d - b * c < 0
            if mirrored:
                a, b = -a, -b
            clockwise_rad = np.arctan2(b, a)
            return Turn(int(np.rint(-clockwise_rad / (np.pi / 2))) % 4, bool(mirrored))
    return Turn(0, False)


def take_frame(picture: VideoFrame, index: int, clip_s: float, turn: Turn, centred: bool) -> Frame:
    """Upright frame whose planes look into the decoder's memory (copied only where bits must be dropped).

    The arrays keep the decoder's picture alive, so they stay valid as long as anybody holds them.

    Parameters
    ----------
    turn : Turn
        What `read_turn` found for the clip.
    centred : bool
        Chroma samples lie midway between luma columns (JPEG); else on the even columns (MPEG's default).
    """
    if picture.format.name not in _DIRECT:
        picture = _convert(picture)
    (step_col, step_row), drop_bits, sample_bytes, interleaved = _DIRECT[picture.format.name]
    rows, cols, planes = picture.height, picture.width, picture.planes
    rows_chroma, cols_chroma = -(-rows // step_row), -(-cols // step_col)
    luma = _look_into(planes[0], rows, cols, sample_bytes, drop_bits)
    if interleaved:
        both = _look_into(planes[1], rows_chroma, 2 * cols_chroma, sample_bytes, drop_bits)
        blue, red = both[:, 0::2], both[:, 1::2]
    else:
        blue = _look_into(planes[1], rows_chroma, cols_chroma, sample_bytes, drop_bits)
        red = _look_into(planes[2], rows_chroma, cols_chroma, sample_bytes, drop_bits)
    offset = ((step_col - 1) / 2 if centred else 0.0, (step_row - 1) / 2)
    return Frame(
        index=index,
        clip_s=clip_s,
        luma=_upright(luma, turn),
        blue=_upright(blue, turn),
        red=_upright(red, turn),
        chroma_step_px=(step_row, step_col) if turn.quarter_turns % 2 else (step_col, step_row),
        chroma_offset_px=_upright_offset(offset, (step_col, step_row), (cols, rows), (cols_chroma, rows_chroma), turn),
    )


def _convert(picture: VideoFrame) -> VideoFrame:
    """A picture of any other format with whole chroma planes; red, green and blue as `RGB_MATRIX` at limited range."""
    if picture.format.is_rgb:
        return picture.reformat(
            format="yuv444p", dst_colorspace=Colorspace.ITU709, src_color_range="JPEG", dst_color_range="MPEG"
        )
    return picture.reformat(format="yuv444p")


def _look_into(plane: VideoPlane, rows: int, cols: int, sample_bytes: int, drop_bits: int) -> Plane:
    if sample_bytes == 1:
        view: Plane = np.ndarray((rows, cols), np.uint8, memoryview(plane), strides=(plane.line_size, 1))
        view.flags.writeable = False
        return view
    wide = np.frombuffer(memoryview(plane), dtype=np.uint16)
    per_row = plane.line_size // 2
    return np.asarray(wide[: rows * per_row].reshape(rows, per_row)[:, :cols] >> drop_bits, dtype=np.uint8)


def _upright(plane: Plane, turn: Turn) -> Plane:
    if turn.mirrored:
        plane = plane[:, ::-1]
    return np.rot90(plane, turn.quarter_turns) if turn.quarter_turns else plane


def _upright_offset(
    offset: tuple[float, float],
    step: tuple[int, int],
    size: tuple[int, int],
    size_chroma: tuple[int, int],
    turn: Turn,
) -> tuple[float, float]:
    """Where chroma sample [0, 0] of the upright picture lies in upright luma pixels, (col, row)."""
    col, row = offset
    step_col, step_row = step
    cols, rows = size
    last_col = col + (size_chroma[0] - 1) * step_col
    last_row = row + (size_chroma[1] - 1) * step_row
    if turn.mirrored:
        col, last_col = cols - 1 - last_col, cols - 1 - col
    match turn.quarter_turns:
        case 1:
            return row, cols - 1 - last_col
        case 2:
            return cols - 1 - last_col, rows - 1 - last_row
        case 3:
            return rows - 1 - last_row, col
        case _:
            return col, row
