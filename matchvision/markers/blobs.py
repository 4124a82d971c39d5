"""Coloured spots in the whole picture, over the table: what could be a marker."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_at_height, project_points, rays
from matchvision.markers.colours import Palette
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import TableSheet

#: Markers stand no higher than this above the table [m].
TALLEST_M: Final = 0.20
#: Share of a colour's full strength from which a chroma sample counts as that colour.
_PALEST_RATIO: Final = 0.33
#: Fewest chroma samples of a spot, and the most across what is looked at.
_FEWEST_SAMPLES: Final = 3
_WIDEST_SAMPLES: Final = 200
#: A spot may look so much smaller or larger in area than the marker would from its distance; tilted discs look smaller.
SIZE_RATIOS: Final = (0.25, 3.0)
_LEAST_AREA_PX: Final = 12.0


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
    scale_px_per_m : (n,) float array
        Pixels that a metre across the line of sight spans there.
    """

    place_px: FloatArray
    area_px: FloatArray
    colour: npt.NDArray[np.int64]
    chroma: FloatArray
    scale_px_per_m: FloatArray

    def suit(self, radius_m: float) -> npt.NDArray[np.bool_]:
        """Whether each spot is about as large as a marker of this radius would be there."""
        ratio = self.area_px / np.maximum(np.pi * (self.scale_px_per_m * radius_m) ** 2, _LEAST_AREA_PX)
        return np.asarray((ratio > SIZE_RATIOS[0]) & (ratio < SIZE_RATIOS[1]), dtype=np.bool_)


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


def find_blobs(frame: Frame, palette: Palette, mask: npt.NDArray[np.bool_], camera: Camera) -> Blobs:
    """All spots of the palette's colours inside the mask.

    A chroma sample belongs to the colour whose direction is nearest, within the widest gate, so that unusual lamps are
    tolerated before any marker has been seen.
    """
    inside = _mask_on_chroma(frame, mask)
    filled_rows, filled_cols = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    if not len(filled_rows) or not palette.names:
        return Blobs(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64), np.empty((0, 2)), np.empty(0))
    top, bottom, left, right = filled_rows[0], filled_rows[-1] + 1, filled_cols[0], filled_cols[-1] + 1
    inside = inside[top:bottom, left:right]
    blue = np.asarray(frame.blue[top:bottom, left:right], dtype=np.float32) - np.float32(palette.neutral[0])
    red = np.asarray(frame.red[top:bottom, left:right], dtype=np.float32) - np.float32(palette.neutral[1])
    strength = np.hypot(blue, red)
    strong = np.asarray((strength > _PALEST_RATIO * palette.strength.min()) & inside, dtype=np.bool_)
    nearest = _label(blue, red, strength, strong, palette)
    spots = [
        _measure_spot(k, part, mask, strong[part], strength[part], blue[part], red[part])
        for k, part, mask in _components(nearest)
    ]
    table = np.array(spots).reshape(-1, 6)
    step, offset = np.array(frame.chroma_step_px), np.array(frame.chroma_offset_px)
    place_px = (table[:, :2] + [left, top]) * step + offset
    return Blobs(
        place_px,
        table[:, 2] * step.prod(),
        table[:, 3].astype(np.int64),
        table[:, 4:],
        _scale_px_per_m(camera, place_px),
    )


def _label(
    blue: npt.NDArray[np.float32],
    red: npt.NDArray[np.float32],
    strength: npt.NDArray[np.float32],
    strong: npt.NDArray[np.bool_],
    palette: Palette,
) -> npt.NDArray[np.int8]:
    """Index of the palette's colour that each strong sample counts as; −1 for none."""
    nearest = np.full(strength.shape, -1, dtype=np.int8)
    rows, cols = np.nonzero(strong)
    directions = np.stack([blue[rows, cols], red[rows, cols]], axis=1) / strength[rows, cols, None]
    cosines = directions @ palette.direction.T.astype(np.float32)
    best = np.argmax(cosines, axis=1)
    fits = (np.max(cosines, axis=1) > np.cos(np.deg2rad(25.0))) & (
        strength[rows, cols] > _PALEST_RATIO * palette.strength[best]
    )
    nearest[rows[fits], cols[fits]] = best[fits]
    return nearest


def label_colours(frame: Frame, palette: Palette, mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.int8]:
    """The palette's colour that each chroma sample counts as when spots are sought inside the mask; −1 for none."""
    inside = _mask_on_chroma(frame, mask)
    if not palette.names:
        return np.full(inside.shape, -1, dtype=np.int8)
    blue = np.asarray(frame.blue, dtype=np.float32) - np.float32(palette.neutral[0])
    red = np.asarray(frame.red, dtype=np.float32) - np.float32(palette.neutral[1])
    strength = np.hypot(blue, red)
    strong = np.asarray((strength > _PALEST_RATIO * palette.strength.min()) & inside, dtype=np.bool_)
    return _label(blue, red, strength, strong, palette)


def _components(
    nearest: npt.NDArray[np.int8],
) -> Iterator[tuple[int, tuple[slice, slice], npt.NDArray[np.bool_]]]:
    """Connected samples of one colour: the colour, a box one sample wider, and the mask in it."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats((nearest >= 0).astype(np.uint8), connectivity=8)
    for n, (x, y, wide, tall, area) in enumerate(stats[1:].tolist(), start=1):
        if area < _FEWEST_SAMPLES or wide > _WIDEST_SAMPLES or tall > _WIDEST_SAMPLES:
            continue
        part = np.s_[max(0, y - 1) : y + tall + 1, max(0, x - 1) : x + wide + 1]
        own = np.where(labels[part] == n, nearest[part], -1)
        for k in np.unique(own[own >= 0]).tolist():
            # Spots of different colours may touch; spots of one colour are taken apart again.
            count, pieces = cv2.connectedComponents((own == k).astype(np.uint8), connectivity=8)
            for piece in range(1, count):
                mask = np.asarray(pieces == piece, dtype=np.bool_)
                if mask.sum() >= _FEWEST_SAMPLES:
                    yield k, part, mask


def _measure_spot(
    k: int,
    part: tuple[slice, slice],
    mask: npt.NDArray[np.bool_],
    strong: npt.NDArray[np.bool_],
    strength: npt.NDArray[np.float32],
    blue: npt.NDArray[np.float32],
    red: npt.NDArray[np.float32],
) -> tuple[float, float, float, float, float, float]:
    """Column, row and area in chroma samples, colour, and chroma in the middle."""
    level = float(np.sort(strength[mask])[-max(1, int(mask.sum()) // 4) :].mean())
    near = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), dtype=np.uint8)) > 0
    value = np.where(near & strong, strength, 0.0)
    ii, jj = np.nonzero(value > 0.3 * level)
    weight = value[ii, jj]
    core = mask & (value > 0.7 * level)
    return (
        float((weight * jj).sum() / weight.sum()) + part[1].start,
        float((weight * ii).sum() / weight.sum()) + part[0].start,
        float((value > 0.5 * level).sum()),
        float(k),
        float(blue[core].mean()),
        float(red[core].mean()),
    )


def _scale_px_per_m(camera: Camera, place_px: FloatArray) -> FloatArray:
    """Pixels a metre across the line of sight spans at the places' distance (n,), at a marker's usual height."""
    there = place_at_height(camera.parameters, place_px, 0.3 * TALLEST_M)
    centre, _ = rays(camera.parameters, np.zeros(2))
    distance_m = np.maximum(np.linalg.norm(there - centre, axis=-1), 1e-3)
    return np.asarray(np.sqrt(camera.parameters[0] * camera.parameters[1]) / distance_m, dtype=np.float64)


def _mask_on_chroma(frame: Frame, mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    rows, cols = frame.blue.shape
    fitted = cv2.resize(mask.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST)
    return np.asarray(fitted > 0, dtype=np.bool_)
