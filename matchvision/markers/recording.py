"""What was found in each frame, in memory that does not grow with the clip."""

from array import array
from collections.abc import Sequence

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.growing import GrowingRows


class Record:
    """Places and uncertainties of m markers, frame by frame."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._rows = GrowingRows((2, count, 2))
        self._struck: list[tuple[int, list[int]]] = []
        self.frame = array("q")
        self.clip_s = array("d")

    def take(self, index: int, clip_s: float, place_px: FloatArray, u_px: FloatArray) -> None:
        """Note a frame: places and uncertainties (m, 2), NaN where a marker was not seen."""
        self._rows.append((place_px, u_px))
        self.frame.append(index)
        self.clip_s.append(clip_s)

    def strike(self, columns: Sequence[int]) -> None:
        """Forget what was noted of some markers so far."""
        self._struck.append((len(self._rows), list(columns)))

    def places(self) -> tuple[FloatArray, FloatArray]:
        """Places and uncertainties of all frames, (n, m, 2) each; they belong to whoever asks."""
        whole = self._rows.whole()
        for until, columns in self._struck:
            whole[:until, :, columns] = np.nan
        return whole[:, 0], whole[:, 1]
