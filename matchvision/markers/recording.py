"""What was found in each frame, in blocks: a long clip has many frames, and an array of its own for each is dear."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: Frames in a block.
_BLOCK: Final = 512


class Record:
    """Places and uncertainties of m markers, frame by frame."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._blocks: list[FloatArray] = []
        self.frame: list[int] = []
        self.clip_s: list[float] = []

    def take(self, index: int, clip_s: float, place_px: FloatArray, u_px: FloatArray) -> None:
        """Note a frame: places and uncertainties (m, 2), NaN where a marker was not seen."""
        row = len(self.frame) % _BLOCK
        if row == 0:
            self._blocks.append(np.full((2, _BLOCK, self._count, 2), np.nan))
        self._blocks[-1][0, row], self._blocks[-1][1, row] = place_px, u_px
        self.frame.append(index)
        self.clip_s.append(clip_s)

    def strike(self, columns: Sequence[int]) -> None:
        """Forget what was noted of some markers so far."""
        for block in self._blocks:
            block[:, :, columns] = np.nan

    def places(self) -> tuple[FloatArray, FloatArray]:
        """Places and uncertainties of all frames, (n, m, 2) each."""
        if not self._blocks:
            return np.empty((0, self._count, 2)), np.empty((0, self._count, 2))
        whole = np.concatenate(self._blocks, axis=1)[:, : len(self.frame)]
        return whole[0], whole[1]
