"""How many threads the libraries for pictures and clips may use."""

from os import cpu_count
from typing import Final

import cv2

#: Threads that decode, at least and at most. A picture waits for those that it builds on: with one thread a core and
#: one more, as libav itself would have it, two cores stand idle for a quarter of the time, with six for a ninth, with
#: twelve for a twentieth; each holds a picture in memory.
_FEWEST_DECODING: Final = 12
_MOST_DECODING: Final = 16


def hold_to_one_thread() -> None:
    """One thread in this process: several processes share the cores, and no result depends on how many."""
    cv2.setNumThreads(1)


def glancing_threads() -> int:
    """Threads that decode where only some pictures are wanted: each is a picture ahead, which is then for nothing."""
    return (cpu_count() or 1) + 1


def decoding_threads() -> int:
    """Threads among which a clip's pictures are shared out for decoding; no picture depends on how many."""
    return min(max((cpu_count() or 1) + 1, _FEWEST_DECODING), _MOST_DECODING)
