"""Pictures that are shown twice: they carry a later time than the moment they show, and would fool every speed."""

import statistics
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.records.frames import Frame

Plane = npt.NDArray[np.uint8]

#: Rows (or columns) of luma of which one is compared, at least, and how many are compared at most or little more: a
#: large picture shows no more motion than a small one, and reading it anew costs time.
_STEP: Final = 8
_ROWS: Final = 90
#: A change of so many levels is motion, not noise or the encoder's mending.
_MOTION_LEVELS: Final = 12
#: Samples that must move for motion to be seen, at least, and as a share of all that are compared.
_FEWEST_MOVED: Final = 8
_LEAST_MOVED_RATIO: Final = 1e-4
#: A repeated picture moves at most this share of what moves before and after it …
_STILL_RATIO: Final = 0.05
#: … and at most this share of the samples that change at all in a usual picture, by noise if by nothing else.
_QUIET_RATIO: Final = 0.35
#: Repeats in a row; more is a scene that stands still.
_MOST_REPEATS: Final = 3
#: Pictures from which the usual change is taken.
_USUAL_PICTURES: Final = 31


def mark_doubles(frames: Iterator[Frame]) -> Iterator[Frame]:
    """The same frames, those marked ``doubled`` that repeat the one before while things move before and after.

    Parameters
    ----------
    frames : iterator of Frame
        In order of presentation. Up to three are held back while a repeat is in doubt.

    Notes
    -----
    One row in eight of luma is compared, of large pictures one in a dozen. A scene that stands still is no double:
    motion must be seen in the step before and in the step after. An encoder that spreads a repeat's errors over its
    neighbours can hide it.
    Checked by: tests/footage/test_doubles.py::test_doubled_pictures_are_marked
    """
    usual: deque[float] = deque(maxlen=_USUAL_PICTURES)
    compare = _Comparison()
    moved_before = 0
    held: list[tuple[Frame, int]] = []
    for frame in frames:
        moved, changed, samples = compare.take(frame.luma)
        floor = max(_FEWEST_MOVED, _LEAST_MOVED_RATIO * samples)
        quiet = changed <= _QUIET_RATIO * statistics.median(usual) if usual else False
        if moved_before >= floor and moved <= _STILL_RATIO * moved_before and quiet and len(held) < _MOST_REPEATS:
            held.append((frame, moved))
            continue
        if held:
            repeats = moved >= floor and max(m for _, m in held) <= _STILL_RATIO * moved
            yield from (replace(f, doubled=repeats) for f, _ in held)
            held.clear()
        usual.append(changed)
        moved_before = moved
        yield frame
    yield from (f for f, _ in held)


class _Comparison:
    """Compares each picture with the one before by some rows of the stored picture, or columns where it was turned."""

    def __init__(self) -> None:
        # Kept from picture to picture: fresh memory for each would cost more than the comparison.
        self._before, self._difference = (np.empty((0, 0), dtype=np.uint8) for _ in range(2))
        self._moved = np.empty((0, 0), dtype=np.bool_)

    def take(self, luma: Plane) -> tuple[int, float, int]:
        """Samples that moved, the share that changed at all, and how many there are."""
        stored = luma if abs(luma.strides[1]) <= abs(luma.strides[0]) else luma.T
        step = max(_STEP, len(stored) // _ROWS)
        rows = stored[::step] if stored.strides[1] == 1 else np.ascontiguousarray(stored[::step])
        if self._before.shape != rows.shape:
            self._before = rows.copy()
            self._difference, self._moved = np.empty(rows.shape, np.uint8), np.empty(rows.shape, np.bool_)
            return 0, 1.0, rows.size
        cv2.absdiff(rows, self._before, dst=self._difference)
        np.greater(self._difference, _MOTION_LEVELS, out=self._moved)
        np.copyto(self._before, rows)
        return int(np.count_nonzero(self._moved)), cv2.countNonZero(self._difference) / rows.size, rows.size
