"""Where chroma samples really lie: clips do not say it truly, their markers do."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.markers.centres import Windows, find_centres
from matchvision.records.frames import Frame

#: Fewest markers that must show up in luma, and how well they must agree [px].
_FEWEST: Final = 3
_SPREAD_PX: Final = 0.25
#: Least luma contrast of a marker against what surrounds it [levels].
_LEAST_CONTRAST: Final = 18.0


def measure_siting(
    frame: Frame, windows: Windows, place_px: FloatArray, flat: npt.NDArray[np.bool_]
) -> tuple[float, float]:
    """Chroma offset (col, row) [px] with each co-sited axis replaced by midway where the markers say so.

    Encoders place chroma on the even columns by default and midway in practice, often without a word in the file. The
    half pixel between the two is a common shift of all centres found in chroma; centres found in luma show it.

    Parameters
    ----------
    place_px : (m, 2) float array
        Centres found in the chroma planes with the frame's present offset, NaN where none.
    flat : (m,) bool array
        Discs on machines. Where enough of them serve, spheres are not asked: rope and shadow touch them in luma.

    Notes
    -----
    Checked by: tests/markers/test_siting.py::test_midway_chroma_is_noticed
    """
    shift = _luma_less_chroma(frame, windows, place_px)
    if np.isfinite(shift[flat, 0]).sum() >= _FEWEST:
        shift = shift[flat]
    offset = list(frame.chroma_offset_px)
    for axis in (0, 1):
        midway = (frame.chroma_step_px[axis] - 1) / 2
        change = midway - offset[axis]
        usable = shift[np.isfinite(shift[:, axis]), axis]
        if abs(change) < 0.25 or len(usable) < _FEWEST:
            continue
        middle = float(np.median(usable))
        spread = 1.4826 * float(np.median(np.abs(usable - middle))) / np.sqrt(len(usable))
        if spread < _SPREAD_PX and abs(middle - change) < abs(middle):
            offset[axis] = midway
    return offset[0], offset[1]


def _luma_less_chroma(frame: Frame, windows: Windows, place_px: FloatArray) -> FloatArray:
    """Centres in luma less those in chroma (m, 2) [px], NaN where luma shows no contrast."""
    nothing = np.zeros_like(frame.luma)
    in_luma = Frame(frame.index, frame.clip_s, frame.luma, frame.luma, nothing, (1, 1), (0.0, 0.0))
    shift = np.full(place_px.shape, np.nan)
    for i, (place, radius) in enumerate(zip(place_px, windows.radius_px, strict=True)):
        if not np.isfinite(place).all():
            continue
        ground, contrast = _contrast(frame.luma, place, radius)
        if abs(contrast) < _LEAST_CONTRAST:
            continue
        one = Windows(
            place_px=place[None],
            half_px=np.array([3.0]),
            direction=np.array([[np.sign(contrast), 0.0]]),
            strength=np.array([abs(contrast)]),
            sideways=np.array([0.0]),
            inverse=windows.inverse[i][None],
            radius_px=windows.radius_px[i][None],
            neutral=np.array([ground, 0.0]),
        )
        found = find_centres(in_luma, one)
        if found.misfit[0] < 0.35:
            shift[i] = found.place_px[0] - place
    return shift


def _contrast(luma: npt.NDArray[np.uint8], place: FloatArray, radius: float) -> tuple[float, float]:
    """Median luma of the ring around a marker, and how much its middle differs from that."""
    col, row = round(place[0]), round(place[1])
    reach = int(np.ceil(radius + 4))
    rows, cols = luma.shape
    part = luma[max(0, row - reach) : min(rows, row + reach + 1), max(0, col - reach) : min(cols, col + reach + 1)]
    y = np.arange(max(0, row - reach), min(rows, row + reach + 1)) - place[1]
    x = np.arange(max(0, col - reach), min(cols, col + reach + 1)) - place[0]
    distance = np.hypot(x[None, :], y[:, None])
    ring, core = distance > radius + 1.5, distance < 0.5 * radius + 0.5
    if not ring.any() or not core.any():
        return 0.0, 0.0
    ground = float(np.median(part[ring]))
    return ground, float(np.median(part[core])) - ground
