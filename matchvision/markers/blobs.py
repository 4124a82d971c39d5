"""Coloured spots in the whole picture, over the table: what could be a marker."""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import project_points
from matchvision.markers.colours import Palette
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet

FloatArray = npt.NDArray[np.float64]

#: Markers stand no higher than this above the table [m].
TALLEST_M: Final = 0.20
#: Share of a colour's full strength from which a chroma sample counts as that colour.
_PALEST_RATIO: Final = 0.33
#: Fewest chroma samples of a spot.
_FEWEST_SAMPLES: Final = 3


@dataclass(frozen=True, eq=False)
class Blobs:
    """Spots of one of the palette's colours.

    Attributes
    ----------
    place_px : (n, 2) float array
        Middles, weighted by chroma (col, row).
    area_px : (n,) float array
        Area above half the spot's own strength [luma pixels].
    colour : (n,) int array
        Index into the palette.
    chroma : (n, 2) float array
        Chroma about the neutral in the spot's middle.
    """

    place_px: FloatArray
    area_px: FloatArray
    colour: npt.NDArray[np.int64]
    chroma: FloatArray


def outline_table(camera: Camera, table: TableSheet) -> npt.NDArray[np.bool_]:
    """Where in the picture anything stands that is over the table: (rows, cols) mask at half size.

    The hull of the table's outline at its surface and `TALLEST_M` above it.
    """
    half_x, half_y = table.length_m / 2, table.width_m / 2
    profile = np.array(table.profile_m).reshape(-1, 2)
    low, high = (float(profile[:, 1].min()), float(profile[:, 1].max())) if len(profile) else (0.0, 0.0)
    along = np.linspace(-1, 1, 9)
    edge = [(x * half_x, y * half_y) for x in along for y in (-1, 1)] + [
        (x * half_x, y * half_y) for x in (-1, 1) for y in along
    ]
    corners = np.array([(x, y, z) for x, y in edge for z in (low, high + TALLEST_M)])
    points = project_points(camera.parameters, corners)
    points = points[np.isfinite(points).all(axis=1)] / 2
    mask = np.zeros((camera.height_px // 2 + 1, camera.width_px // 2 + 1), dtype=np.uint8)
    if len(points) >= 3:
        hull = cv2.convexHull(points.astype(np.float32).reshape(-1, 1, 2))
        cv2.fillConvexPoly(mask, hull.round().astype(np.int32), 1)
    return np.asarray(mask > 0, dtype=np.bool_)


def measure_neutral(frame: Frame, mask: npt.NDArray[np.bool_]) -> FloatArray:
    """Median chroma (blue, red) over the table: what has no colour there [8-bit levels]."""
    step = 4
    inside = _mask_on_chroma(frame, mask)[::step, ::step]
    if not inside.any():
        return np.array([128.0, 128.0])
    return np.array([np.median(frame.blue[::step, ::step][inside]), np.median(frame.red[::step, ::step][inside])])


def find_blobs(frame: Frame, palette: Palette, mask: npt.NDArray[np.bool_]) -> Blobs:
    """All spots of the palette's colours inside the mask.

    A chroma sample belongs to the colour whose direction is nearest, within the widest gate, so that unusual lamps are
    tolerated before any marker has been seen.
    """
    inside = _mask_on_chroma(frame, mask)
    where = np.argwhere(inside)
    if not len(where) or not palette.names:
        return Blobs(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64), np.empty((0, 2)))
    (top, left), (bottom, right) = where.min(axis=0), where.max(axis=0) + 1
    inside = inside[top:bottom, left:right]
    blue = np.asarray(frame.blue[top:bottom, left:right], dtype=np.float32) - np.float32(palette.neutral[0])
    red = np.asarray(frame.red[top:bottom, left:right], dtype=np.float32) - np.float32(palette.neutral[1])
    strength = np.hypot(blue, red)
    strong = np.asarray((strength > _PALEST_RATIO * palette.strength.min()) & inside, dtype=np.bool_)
    nearest = np.full(strength.shape, -1, dtype=np.int8)
    rows, cols = np.nonzero(strong)
    directions = np.stack([blue[rows, cols], red[rows, cols]], axis=1) / strength[rows, cols, None]
    cosines = directions @ palette.direction.T.astype(np.float32)
    best = np.argmax(cosines, axis=1)
    fits = (np.max(cosines, axis=1) > np.cos(np.deg2rad(25.0))) & (
        strength[rows, cols] > _PALEST_RATIO * palette.strength[best]
    )
    nearest[rows[fits], cols[fits]] = best[fits]
    spots: list[tuple[float, float, float, int, float, float]] = []
    step_col, step_row = frame.chroma_step_px
    for k in range(len(palette.names)):
        count, labels, stats, _ = cv2.connectedComponentsWithStats((nearest == k).astype(np.uint8), connectivity=8)
        for n in range(1, count):
            x, y, wide, tall, area = (int(v) for v in stats[n])
            if area < _FEWEST_SAMPLES or wide > 200 or tall > 200:
                continue
            part = np.s_[max(0, y - 1) : y + tall + 1, max(0, x - 1) : x + wide + 1]
            here = (labels[part] == n) | ((labels[part] == 0) & strong[part])
            value = np.where(here, strength[part], 0.0)
            top_level = float(np.sort(value[labels[part] == n])[-max(1, area // 4) :].mean())
            ii, jj = np.nonzero(value > 0.3 * top_level)
            weight = value[ii, jj]
            core = value > 0.7 * top_level
            spots.append(
                (
                    float((weight * jj).sum() / weight.sum() + left + part[1].start) * step_col
                    + frame.chroma_offset_px[0],
                    float((weight * ii).sum() / weight.sum() + top + part[0].start) * step_row
                    + frame.chroma_offset_px[1],
                    float((value > 0.5 * top_level).sum()) * step_col * step_row,
                    k,
                    float(blue[part][core].mean()),
                    float(red[part][core].mean()),
                )
            )
    table = np.array(spots).reshape(-1, 6)
    return Blobs(table[:, :2], table[:, 2], table[:, 3].astype(np.int64), table[:, 4:])


def _mask_on_chroma(frame: Frame, mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    rows, cols = frame.blue.shape
    fitted = cv2.resize(mask.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST)
    return np.asarray(fitted > 0, dtype=np.bool_)
