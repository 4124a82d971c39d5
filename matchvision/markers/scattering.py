"""How far centres scatter about smooth paths: what a codec does to moving edges and no residual in a picture shows."""

import functools
import math
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from numba import types

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept
from matchvision.records.tracks import MarkerPlan

#: Pictures over which a path is taken as a parabola, and how often it is looked at.
_WINDOW: Final = 7
_EVERY: Final = 4
#: A codec keeps a marker that stands still as it was; only from this speed does it show its error [px a picture].
_MOVES_PX: Final = 0.05
#: What is assumed before anything has moved [px], and the least weight of a new look afterwards.
_USUAL_PX: Final = 0.05
_LEAST_GAIN: Final = 0.05
#: Codecs move blocks by halves or quarters of a pixel: half a pixel's uniform error is the most that they add [px].
#: More is a machine that shakes, truly.
_MOST_PX: Final = 0.5 / 12**0.5
#: Variances further from the median than this are cut: a jerk of the rope is no scatter.
_WIDEST_RATIO: Final = 9.0
#: A codec's picture also lags behind steady motion, alike in all pictures. Over radii of 6 to 14 px, noise of 1 to 3
#: levels and bit rates of 0.14 to 0.27 a pixel the scatter makes 0.80 to 0.95 of the whole error.
_SCATTER_SHARE: Final = 0.85


class Scatter:
    """Excess of the scatter over what each fit claims, for spheres and for discs.

    Rim marks, whose paths bend within the window, are not asked.
    """

    def __init__(self, plans: Sequence[MarkerPlan]) -> None:
        self._spheres = np.array([p.sphere for p in plans], dtype=np.bool_)
        rims = np.array([p.kind == "rim" for p in plans], dtype=np.bool_)
        self._groups = (np.flatnonzero(~self._spheres & ~rims), np.flatnonzero(self._spheres))
        self._places_px = np.full((_WINDOW, len(plans), 2), np.nan)
        self._variance = np.full((_WINDOW, len(plans), 2), np.nan)
        at = np.linspace(-1, 1, _WINDOW)
        path = np.stack([at**0, at, at**2], axis=1)
        self._leaves = np.eye(_WINDOW) - path @ np.linalg.pinv(path)
        self._excess = [_USUAL_PX**2, _USUAL_PX**2]
        self._looks = [0, 0]
        self._pictures, self._index = 0, -1
        self._room = np.empty(2 * len(plans))

    def take(self, index: int, place_px: FloatArray, variance: FloatArray) -> None:
        """Note a picture's centres (m, 2) and the variances that their fits claim, NaN where there was no fit."""
        if index != self._index + 1:
            self._pictures = 0
        self._index = index
        self._places_px[self._pictures % _WINDOW] = place_px
        self._variance[self._pictures % _WINDOW] = variance
        self._pictures += 1
        if self._pictures >= _WINDOW and self._pictures % _EVERY == 0:
            for group, rows in enumerate(self._groups):
                if len(rows):
                    self._look(group, rows)

    @property
    def beyond_px(self) -> tuple[float, float]:
        """Standard deviation of discs' and of spheres' centres beyond what their fits claim."""
        discs, spheres = self._excess
        if not self._looks[0] and self._looks[1]:
            discs = spheres
        return math.sqrt(discs) / _SCATTER_SHARE, math.sqrt(spheres) / _SCATTER_SHARE

    def _look(self, group: int, rows: npt.NDArray[np.int64]) -> None:
        # The newest picture first, then back in time: of a parabola the order's direction does not matter.
        newest = (self._pictures - 1) % _WINDOW
        found = _excess()(self._places_px, self._variance, self._leaves, rows, newest, self._room)
        if math.isnan(found):
            return
        found = min(max(found, 0.0), _MOST_PX**2)
        self._looks[group] += 1
        gain = max(1 / self._looks[group], _LEAST_GAIN)
        self._excess[group] += gain * (found - self._excess[group])


@functools.cache
def _excess() -> Callable[..., float]:
    """The compiled kernel."""
    block, table = types.float64[:, :, ::1], types.float64[:, ::1]
    signature = types.float64(block, block, table, types.int64[::1], types.int64, types.float64[::1])
    return compile_kept(_excess_loop, signature=signature)


def _excess_loop(places: Any, variance: Any, leaves: Any, rows: Any, newest: Any, scatter: Any) -> Any:  # noqa: ANN401
    """Mean of the scatter about parabolas, the widest cut, less that of the variances claimed; NaN where none moves.

    Parameters
    ----------
    places, variance : (`_WINDOW`, m, 2) arrays
        One picture after the other in a ring.
    scatter : (2 m,) array
        Room to work in.
    """
    count, claimed = 0, 0.0
    oldest = (newest + 1) % _WINDOW
    for i in rows:
        for axis in range(2):
            whole, known = 0.0, True
            for k in range(_WINDOW):
                known = known and math.isfinite(places[k, i, axis])
                whole += variance[k, i, axis]
            if not (known and abs(places[newest, i, axis] - places[oldest, i, axis]) > _MOVES_PX * (_WINDOW - 1)):
                continue
            square = 0.0
            for p in range(_WINDOW):
                left = 0.0
                for k in range(_WINDOW):
                    left += leaves[p, k] * places[(newest - k) % _WINDOW, i, axis]
                square += left * left
            # Kept in order, for the median.
            at = count
            while at > 0 and scatter[at - 1] > square / (_WINDOW - 3):
                scatter[at] = scatter[at - 1]
                at -= 1
            scatter[at] = square / (_WINDOW - 3)
            count += 1
            claimed += whole / _WINDOW
    if count == 0:
        return math.nan
    widest = _WIDEST_RATIO * 0.5 * (scatter[(count - 1) // 2] + scatter[count // 2])
    total = 0.0
    for k in range(count):
        total += min(scatter[k], widest)
    return (total - claimed) / count
