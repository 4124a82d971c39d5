"""What pictures show about how they were taken: sharpness, light, flicker, shake and doubled pictures."""

import functools
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.footage.doubles import mark_doubles
from matchvision.footage.flicker import measure_flicker, split_runs
from matchvision.footage.shifting import measure_shift, shrink
from matchvision.records.footage import PictureLook
from matchvision.records.frames import ClipFacts, Frame

FloatArray = npt.NDArray[np.float64]
Luma = npt.NDArray[np.uint8]

#: Pictures in which sharpness and light are measured, pairs of which the move is, and places over the clip.
_SHARPNESS_PICTURES, _LIGHT_PICTURES, _PAIRS, _PLACES = 3, 12, 8, 8
#: Pictures from a clip's beginning, in turn, from which flicker, shake and repeats are told.
NEIGHBOURS: Final = 32
#: Edges that are tried in a picture, each way, and their least rise as a share of the luma range.
_EDGES: Final = 800
_LEAST_RISE_RATIO: Final = 0.25
#: Pixels to each side of an edge in which its rise must begin and end.
_REACH_PX: Final = 10
#: Luma from which a pixel is blown out, and below which it is black, as shares of the luma range.
_BLOWN_RATIO, _BLACK_RATIO = 0.985, 0.02


def measure_pictures(frames: Sequence[Frame], facts: ClipFacts, outline_px: FloatArray | None = None) -> PictureLook:
    """Measure some pictures of a clip, or a single one.

    Parameters
    ----------
    frames : sequence of Frames
        In order of presentation; runs of neighbours are needed for shake and doubled pictures, a run of two dozen
        for flicker.
    outline_px : (n, 2) float array, optional
        Outline of the table in the picture; light is measured inside it.

    Notes
    -----
    Checked by: tests/footage/test_looking.py::test_a_blurred_step_has_its_known_width
    """
    spread = _spread(frames, _LIGHT_PICTURES)
    inside = _mask(frames[0].luma.shape, outline_px)
    light = np.array([_measure_light(f.luma, inside, full_range=facts.full_range) for f in spread])
    mean, clipped, dark = np.mean(light, axis=0)
    edges = np.concatenate([_rise_widths(f.luma) for f in _spread(frames, _SHARPNESS_PICTURES)])
    flicker_ratio, flicker_per_s = measure_flicker(frames, _luma_range(full_range=facts.full_range)[0])
    shake_px, wander_px, doubled, pairs = _measure_moves(frames)
    return PictureLook(
        pictures=len(frames),
        edge_px=float(np.quantile(edges, 0.25)) if len(edges) >= 20 else float("nan"),
        mean_ratio=float(mean),
        clipped_ratio=float(clipped),
        dark_ratio=float(dark),
        drift_ratio=float(np.ptp(light[:, 0]) / mean) if len(spread) > 1 and mean > 0 else float("nan"),
        flicker_ratio=flicker_ratio,
        flicker_per_s=flicker_per_s,
        shake_px=shake_px,
        wander_px=wander_px,
        doubled=doubled,
        pairs=pairs,
    )


def join_frames(*looks: Sequence[Frame]) -> tuple[Frame, ...]:
    """The frames of several looks at one clip, each once, in order of presentation."""
    return tuple(sorted({f.index: f for look in looks for f in look}.values(), key=lambda frame: frame.index))


def _spread(frames: Sequence[Frame], count: int) -> list[Frame]:
    """At most so many frames, spread over time as evenly as there are any."""
    clip_s = np.array([frame.clip_s for frame in frames])
    wanted_s = np.linspace(clip_s[0], clip_s[-1], count)
    chosen = np.unique(np.abs(clip_s[:, None] - wanted_s).argmin(axis=0))
    return [frames[k] for k in chosen]


def _luma_range(*, full_range: bool) -> tuple[float, float]:
    """Luma of black and of white; ITU-R BT.709 leaves head and foot room in limited range."""
    return (0.0, 255.0) if full_range else (16.0, 235.0)


def _mask(shape: tuple[int, ...], outline_px: FloatArray | None) -> npt.NDArray[np.bool_] | None:
    if outline_px is None or not np.isfinite(outline_px).all():
        return None
    mask = np.zeros(shape, dtype=np.uint8)
    cv2.fillPoly(mask, [np.clip(outline_px, -1e4, 1e4).round().astype(np.int32)], 1)
    inside = np.asarray(mask[::2, ::2] > 0, dtype=np.bool_)
    return inside if inside.sum() > 100 else None


def _measure_light(luma: Luma, inside: npt.NDArray[np.bool_] | None, *, full_range: bool) -> tuple[float, float, float]:
    """Mean over the range, share blown out, share black."""
    values = luma[::2, ::2]
    values = values.ravel() if inside is None else values[inside]
    counts = np.bincount(values, minlength=256) / max(1, values.size)
    black, white = _luma_range(full_range=full_range)
    ratio = (np.arange(256) - black) / (white - black)
    return (
        float(np.sum(counts * np.clip(ratio, 0, 1))),
        float(np.sum(counts[ratio >= _BLOWN_RATIO])),
        float(np.sum(counts[ratio <= _BLACK_RATIO])),
    )


def _rise_widths(luma: Luma) -> FloatArray:
    """Widths from 10 to 90 % of the rise of the picture's strongest steps, along rows and along columns [px]."""
    luma = np.ascontiguousarray(luma)
    by_col, by_row = np.abs(cv2.Sobel(luma, cv2.CV_16S, 1, 0)), np.abs(cv2.Sobel(luma, cv2.CV_16S, 0, 1))
    return np.concatenate([_rises_along_rows(luma, by_col, by_row), _rises_along_rows(luma.T, by_row.T, by_col.T)])


def _rises_along_rows(luma: Luma, across: npt.NDArray[np.int16], along: npt.NDArray[np.int16]) -> FloatArray:
    # Every second row shows what its neighbours show.
    luma, across, along = luma[::2], across[::2], along[::2]
    # Steps that run nearly straight up the picture: others look wider along a row than they are.
    steep = across > 4 * 16
    steep &= along < across // 5
    steep[:, :_REACH_PX] = steep[:, -_REACH_PX:] = False
    steep[:, 1:-1] &= (across[:, 1:-1] >= across[:, :-2]) & (across[:, 1:-1] > across[:, 2:])
    rows, cols = np.nonzero(steep)
    # A fixed stride keeps the choice the same each time and spreads it over the picture.
    stride = max(1, len(rows) // _EDGES)
    rows, cols = rows[::stride], cols[::stride]
    profiles = luma[rows[:, None], cols[:, None] + np.arange(-_REACH_PX, _REACH_PX + 1)].astype(np.float64)
    falling = profiles[:, _REACH_PX + 1] < profiles[:, _REACH_PX - 1]
    profiles[falling] = profiles[falling, ::-1]
    widths = [w for w in (_rise_width(p) for p in profiles) if np.isfinite(w)]
    return np.array(widths)


def _rise_width(profile: FloatArray) -> float:
    """Width from 10 to 90 % of a rise in the middle of a profile; NaN where it is low or its ends are not in view."""
    middle = len(profile) // 2
    low, high = middle, middle
    while low > 0 and profile[low - 1] < profile[low]:
        low -= 1
    while high < len(profile) - 1 and profile[high + 1] > profile[high]:
        high += 1
    rise = profile[high] - profile[low]
    if rise < _LEAST_RISE_RATIO * 220 or low == 0 or high == len(profile) - 1:
        return float("nan")
    part = profile[low : high + 1]
    at = np.interp([profile[low] + 0.1 * rise, profile[low] + 0.9 * rise], part, np.arange(len(part)))
    return float(at[1] - at[0])


def _measure_moves(frames: Sequence[Frame]) -> tuple[float, float, int, int]:
    """Shake and wander of the whole picture [px], doubled pairs, and pairs looked at."""
    if len(frames) < 2:
        return float("nan"), float("nan"), 0, 0
    width_px = frames[0].luma.shape[1]
    by_index = {frame.index: frame for frame in frames}
    shrunk = functools.cache(lambda index: shrink(by_index[index].luma))
    neighbours = [(a.index, b.index) for a, b in pairwise(frames) if b.index == a.index + 1]
    pairs = np.unique(np.linspace(0, len(neighbours) - 1, min(_PAIRS, len(neighbours))).round().astype(int))
    moves = [measure_shift(shrunk(a), shrunk(b), width_px)[0] for a, b in (neighbours[k] for k in pairs)]
    moves = [m for m in moves if np.isfinite(m)]
    doubled = sum(frame.doubled for run in split_runs(frames) for frame in mark_doubles(iter(run)))
    starts = [run[0] for run in split_runs(frames)]
    starts = starts if len(starts) > 1 else [frames[0], frames[len(frames) // 2], frames[-1]]
    wander = [
        measure_shift(shrunk(starts[0].index), shrunk(f.index), width_px)[0] for f in _spread(starts, _PLACES)[1:]
    ]
    wander = [w for w in wander if np.isfinite(w)]
    shake_px = float(np.sqrt(np.mean(np.square(moves)))) if moves else float("nan")
    return shake_px, max(wander, default=float("nan")), doubled, len(neighbours)
