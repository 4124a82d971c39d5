"""Pictures that are shown twice: they carry a later time than the moment they show, and would fool every speed."""

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.records.frames import Frame

Plane = npt.NDArray[np.uint8]

#: Rows (or columns) of luma of which one is compared.
_STEP: Final = 8
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
    One row in eight of luma is compared. A scene that stands still is no double: motion must be seen in the step before
    and in the step after. An encoder that spreads a repeat's errors over its neighbours can hide it.
    Checked by: tests/footage/test_doubles.py::test_doubled_pictures_are_marked
    """
    usual: deque[float] = deque(maxlen=_USUAL_PICTURES)
    before: Plane | None = None
    moved_before = 0
    held: list[tuple[Frame, int]] = []
    for frame in frames:
        rows = _sample(frame.luma)
        moved, changed = _compare(rows, before)
        floor = max(_FEWEST_MOVED, _LEAST_MOVED_RATIO * rows.size)
        quiet = changed <= _QUIET_RATIO * float(np.median(usual)) if usual else False
        before = rows
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


def _sample(luma: Plane) -> Plane:
    """Some rows of the stored picture, copied; of a picture that was turned, some columns."""
    stored = luma if abs(luma.strides[1]) <= abs(luma.strides[0]) else luma.T
    return np.ascontiguousarray(stored[::_STEP])


def _compare(rows: Plane, before: Plane | None) -> tuple[int, float]:
    """Samples that moved, and the share that changed at all."""
    if before is None or before.shape != rows.shape:
        return 0, 1.0
    difference = cv2.absdiff(rows, before)
    return int(np.count_nonzero(difference > _MOTION_LEVELS)), float(np.count_nonzero(difference)) / rows.size
