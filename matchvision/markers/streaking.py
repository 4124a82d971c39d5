"""How far each marker moves while the shutter is open: from its last places, and a shutter learnt from the clip."""

import functools
import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from numba import types

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept

#: Shares of the time between pictures for which the shutter may be open: those that are weighed against each other.
SHUTTERS: Final = (0.0, 0.25, 0.5, 0.75, 1.0)
#: Slower markers draw no streak that their blur would let us measure [px a picture].
_FAST_PX: Final = 2.0
#: A step that differs from the one before by a larger part of itself says too little of the speed at its end.
_STEADY_RATIO: Final = 0.3
#: The shares differ by so much in log likelihood where one is known; until then fast markers are looked at in each
#: picture, later in every sixteenth. Old looks fade, for cameras change their shutter with the light.
_SURE: Final = 12.0
_EVERY: Final = 16
_MEMORY: Final = 0.95


class Streaks:
    """Speeds in the picture and the share of the time between pictures for which the shutter is open.

    A streak is even about the middle of the exposure: a wrong share costs precision, not truth.
    """

    def __init__(self, count: int) -> None:
        self._last_px = np.full((2, count, 2), np.nan)
        self._index = -1
        self._steady = np.zeros(count, dtype=np.bool_)
        self._costs = np.zeros(len(SHUTTERS))
        self._asked = 0
        self.shutter = 0.0

    def speed(self, index: int, place_px: FloatArray) -> FloatArray:
        """Motion (m, 2) at the middle of this picture [px a picture], zero where the pictures before do not tell.

        The step from the picture before belongs half a picture earlier; the change between the last two steps carries
        it on.
        """
        if index != self._index + 1:
            self._last_px[:] = np.nan
        speed_px = np.empty(place_px.shape)
        _speeds()(place_px, self._last_px, self._steady, speed_px)
        return speed_px

    def take(self, index: int, place_px: FloatArray) -> None:
        """Note where the markers (m, 2) were found."""
        self._last_px[1], self._last_px[0] = self._last_px[0], place_px
        self._index = index

    def while_open(self, speed_px: FloatArray, shutter: float | None = None, room: float | None = None) -> FloatArray:
        """Ways (m, 4) during the exposure (across, down) and how far beyond the marker they reach on each side [px].

        Parameters
        ----------
        shutter : float, optional
            Share of the time between pictures; left out, what has been learnt.
        room : float, optional
            The share that the reach is made for.
        """
        shutter = self.shutter if shutter is None else shutter
        reach = 0.5 * (shutter if room is None else room)
        return np.concatenate([shutter * speed_px, reach * np.abs(speed_px)], axis=1)

    def is_fast(self, speed_px: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether each marker (m,) moves so steadily and fast that its streak tells the shutter."""
        return np.asarray(self._steady & ((speed_px**2).sum(axis=1) > _FAST_PX**2), dtype=np.bool_)

    def wants_look(self, speed_px: FloatArray) -> bool:
        """Whether this picture should be asked for the shutter."""
        if not self.is_fast(speed_px).any():
            return False
        self._asked += 1
        return bool(np.ptp(self._costs) < _SURE) or self._asked % _EVERY == 0

    def learn(self, costs: FloatArray) -> None:
        """Take over what a picture says: the negative log likelihood of each share of `SHUTTERS`."""
        if not np.isfinite(costs).all():
            return
        self._costs = _MEMORY * self._costs + costs - costs.min()
        best = int(np.argmin(self._costs))
        self.shutter = SHUTTERS[best]
        if 0 < best < len(SHUTTERS) - 1:
            before, here, after = self._costs[best - 1 : best + 2]
            self.shutter += (SHUTTERS[1] - SHUTTERS[0]) * 0.5 * (before - after) / (before - 2 * here + after)


@functools.cache
def _speeds() -> Callable[..., None]:
    """The compiled kernel."""
    table = types.float64[:, :]
    signature = types.void(table, types.float64[:, :, ::1], types.boolean[::1], table)
    return compile_kept(_speed_loops, signature=signature)


def _speed_loops(place: Any, last: Any, steady: Any, speed: Any) -> None:  # noqa: ANN401
    """Fill the speeds (m, 2) and whether each marker moves steadily."""
    for i in range(place.shape[0]):
        steps, changes, known = 0.0, 0.0, True
        for axis in range(2):
            step = place[i, axis] - last[0, i, axis]
            if math.isnan(step):
                step = 0.0
            change = step - (last[0, i, axis] - last[1, i, axis])
            steps += step * step
            if math.isnan(change):
                known = False
                change = 0.0
            changes += change * change
            speed[i, axis] = step + 0.5 * change
        steady[i] = known and changes < _STEADY_RATIO * _STEADY_RATIO * steps
