"""Sums and means of a series over a stretch of time around each frame."""

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray


def frames_around(real_s: FloatArray, window_s: float) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """First frame, and the one after the last, of the window around each frame (n,)."""
    first = np.searchsorted(real_s, real_s - window_s / 2 - 1e-9, side="left")
    return first, np.searchsorted(real_s, real_s + window_s / 2 + 1e-9, side="right")


def window_sums(values: FloatArray, real_s: FloatArray, window_s: float) -> FloatArray:
    """Sum (n,) over the window around each frame; values must be finite."""
    first, last = frames_around(real_s, window_s)
    running = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(running[last] - running[first], dtype=np.float64)


def window_mean(values: FloatArray, real_s: FloatArray, window_s: float) -> FloatArray:
    """Mean (n,) over the window around each frame; NaN where less than half of the window's frames are known."""
    first, last = frames_around(real_s, window_s)
    count = window_sums(np.isfinite(values).astype(np.float64), real_s, window_s)
    sums = window_sums(np.nan_to_num(values), real_s, window_s)
    return np.where(2 * count >= last - first, sums / np.maximum(count, 1.0), np.nan)
