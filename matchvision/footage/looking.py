"""What pictures show about how they were taken: sharpness, light, flicker, shake and doubled pictures."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, TypeVar

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.footage.doubles import mark_doubles
from matchvision.footage.flicker import measure_flicker, split_runs, strip_means
from matchvision.footage.glancing import list_gaps
from matchvision.footage.shifting import measure_shift, shrink
from matchvision.records.footage import PictureLook
from matchvision.records.frames import ClipFacts, Frame

Luma = npt.NDArray[np.uint8]
Timed = TypeVar("Timed", "Frame", "Glimpse")
#: Mean over the range, share blown out, share black.
Light = tuple[float, float, float]

#: Pictures in which sharpness and light are measured, pairs of which the move is, and places over the clip.
_SHARPNESS_PICTURES, _LIGHT_PICTURES, _PAIRS, _PLACES = 3, 12, 8, 8
#: Pictures from a clip's beginning, in turn, from which flicker, shake and repeats are told.
NEIGHBOURS: Final = 32
#: Of so many neighbours so many are kept, small, for what moves from one to the next.
_SMALL_OF, _SMALL_KEPT = 4, 2
#: Edges that are tried in a picture, each way, and their least rise as a share of the luma range.
_EDGES: Final = 800
_LEAST_RISE_RATIO: Final = 0.25
#: Pixels to each side of an edge in which its rise must begin and end.
_REACH_PX: Final = 10
#: Luma from which a pixel is blown out, and below which it is black, as shares of the luma range.
_BLOWN_RATIO, _BLACK_RATIO = 0.985, 0.02


@dataclass(frozen=True, eq=False)
class Glimpse:
    """What is kept of a picture until it is set beside others.

    Attributes
    ----------
    strips : (n,) float array
        As `strip_means` gives them.
    small : (rows, cols) uint8 array or None
        As `shrink` gives it; not kept of every picture.
    """

    index: int
    clip_s: float
    doubled: bool
    width_px: int
    strips: FloatArray
    small: Luma | None


class LookWatch:
    """Measures a clip's pictures in passing: singly those of a first look, then the pass's own beginning.

    Where the first look did not get about, as in a clip that can be decoded from its beginning alone, some pictures of
    the pass make up for it.

    Parameters
    ----------
    looked : sequence of Frames
        In order of presentation; not kept.
    facts : ClipFacts
    until_s : float, optional
        Where the pass ends, if not at the clip's end [s, clip time].
    """

    def __init__(self, looked: Sequence[Frame], facts: ClipFacts, until_s: float | None = None) -> None:
        self._facts = facts
        self._light = _measure_lights(looked, facts, None)
        self._edges = _measure_edges(looked)
        self._glimpses = {g.index: g for run in split_runs(looked) for g in _glimpse(run)}
        self._seen = 0
        self._due_s = deque(list_gaps(looked, facts.duration_s if until_s is None else until_s))

    def see(self, frame: Frame) -> None:
        """Take the pass's next frame."""
        if self._seen < NEIGHBOURS:
            known = self._glimpses.get(frame.index)
            taken = _take_glimpse(frame, self._seen)
            # What the first look kept of a picture stays.
            kept = None if known is None else known.small
            self._glimpses[frame.index] = taken if kept is None else replace(taken, small=kept)
            self._seen += 1
        elif self._due_s and frame.clip_s >= self._due_s[0]:
            self._due_s.popleft()
            self._glimpses[frame.index] = _take_glimpse(frame, 0)
            self._light.append(_measure_light(frame.luma, None, full_range=self._facts.full_range))

    def look(self) -> PictureLook:
        """What the pictures show."""
        stills = _measure_stills(self._light, self._edges)
        return _measure_together(stills, [self._glimpses[index] for index in sorted(self._glimpses)], self._facts)


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
    glimpses = [glimpse for run in split_runs(frames) for glimpse in _glimpse(list(mark_doubles(iter(run))))]
    stills = _measure_stills(_measure_lights(frames, facts, outline_px), _measure_edges(frames))
    return _measure_together(stills, glimpses, facts)


def _glimpse(run: Sequence[Frame]) -> list[Glimpse]:
    # The last one is kept whole as well: it tells how far the camera has wandered.
    return [_take_glimpse(frame, 0 if place == len(run) - 1 else place) for place, frame in enumerate(run)]


def _take_glimpse(frame: Frame, place: int) -> Glimpse:
    """What is kept of the picture at a place in a run of neighbours; of two in four the whole, small."""
    small = shrink(frame.luma) if place % _SMALL_OF < _SMALL_KEPT else None
    return Glimpse(frame.index, frame.clip_s, frame.doubled, frame.luma.shape[1], strip_means(frame.luma), small)


def _measure_lights(frames: Sequence[Frame], facts: ClipFacts, outline_px: FloatArray | None) -> list[Light]:
    inside = _mask(frames[0].luma.shape, outline_px)
    spread = _spread(frames, _LIGHT_PICTURES)
    return [_measure_light(f.luma, inside, full_range=facts.full_range) for f in spread]


def _measure_edges(frames: Sequence[Frame]) -> FloatArray:
    return np.concatenate([_rise_widths(f.luma) for f in _spread(frames, _SHARPNESS_PICTURES)])


def _measure_stills(lights: Sequence[Light], edges_px: FloatArray) -> PictureLook:
    """What pictures show one by one, and how their light drifts."""
    light = np.array(lights)
    mean, clipped, dark = np.mean(light, axis=0)
    return PictureLook(
        pictures=0,
        edge_px=float(np.quantile(edges_px, 0.25)) if len(edges_px) >= 20 else float("nan"),
        mean_ratio=float(mean),
        clipped_ratio=float(clipped),
        dark_ratio=float(dark),
        drift_ratio=float(np.ptp(light[:, 0]) / mean) if len(light) > 1 and mean > 0 else float("nan"),
        flicker_ratio=float("nan"),
        flicker_per_s=float("nan"),
        shake_px=float("nan"),
        wander_px=float("nan"),
        doubled=0,
        pairs=0,
    )


def join_frames(*looks: Sequence[Frame]) -> tuple[Frame, ...]:
    """The frames of several looks at one clip, each once, in order of presentation."""
    return tuple(sorted({f.index: f for look in looks for f in look}.values(), key=lambda frame: frame.index))


def _spread(frames: Sequence[Timed], count: int) -> list[Timed]:
    """At most so many, spread over time as evenly as there are any."""
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


def _measure_light(luma: Luma, inside: npt.NDArray[np.bool_] | None, *, full_range: bool) -> Light:
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


def _measure_together(stills: PictureLook, glimpses: Sequence[Glimpse], facts: ClipFacts) -> PictureLook:
    """Add what only several pictures show: flicker, shake and wander of the whole picture, doubled pairs."""
    longest = max(split_runs(glimpses), key=len)
    time_s, strips = np.array([g.clip_s for g in longest]), np.array([g.strips for g in longest])
    flicker_ratio, flicker_per_s = measure_flicker(time_s, strips, _luma_range(full_range=facts.full_range)[0])
    shake_px, wander_px = _measure_moves(glimpses)
    return replace(
        stills,
        pictures=len(glimpses),
        flicker_ratio=flicker_ratio,
        flicker_per_s=flicker_per_s,
        shake_px=shake_px,
        wander_px=wander_px,
        doubled=sum(glimpse.doubled for glimpse in glimpses),
        pairs=sum(b.index == a.index + 1 for a, b in pairwise(glimpses)),
    )


def _measure_moves(glimpses: Sequence[Glimpse]) -> tuple[float, float]:
    """Shake and wander of the whole picture [px]."""
    width_px = glimpses[0].width_px
    kept = [(glimpse, glimpse.small) for glimpse in glimpses if glimpse.small is not None]
    neighbours = [(one, other) for (a, one), (b, other) in pairwise(kept) if b.index == a.index + 1]
    chosen = np.unique(np.linspace(0, len(neighbours) - 1, min(_PAIRS, len(neighbours))).round().astype(int))
    moves = [measure_shift(neighbours[k][0], neighbours[k][1], width_px)[0] for k in chosen]
    moves = [m for m in moves if np.isfinite(m)]
    shake_px = float(np.sqrt(np.mean(np.square(moves)))) if moves else float("nan")
    starts = [run[0] for run in split_runs(glimpses)]
    if len(starts) == 1:
        starts = [kept[k][0] for k in (0, len(kept) // 2, -1)]
    first = kept[0][1]
    wander = [measure_shift(first, g.small, width_px)[0] for g in _spread(starts, _PLACES)[1:] if g.small is not None]
    return shake_px, max((w for w in wander if np.isfinite(w)), default=float("nan"))
