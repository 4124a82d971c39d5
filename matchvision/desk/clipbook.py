"""The clip as a book of pictures: any page, and what a person sees on it."""

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import replace
from threading import Lock
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.errors import FootageError
from matchvision.footage import first_look, read_frames
from matchvision.footage.timing import scan_times
from matchvision.records.camera import TableView
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import CameraSheet, TableSheet
from matchvision.report.canvas import colours_of

Picture = npt.NDArray[np.uint8]

#: Pictures that are kept in memory, for stepping to and fro.
_KEPT: Final = 24
#: Neighbours on each side that are decoded with a picture, since stepping asks for them next.
_NEAR: Final = 4


class ClipBook:
    """Pictures of a clip, or of a run's part of it, by their number.

    Parameters
    ----------
    facts : ClipFacts
    from_s, until_s : float or None
        The run's part of the clip.
    """

    def __init__(self, facts: ClipFacts, from_s: float | None = None, until_s: float | None = None) -> None:
        self.facts = facts
        self.part = (from_s, until_s)
        shown = scan_times(facts.path).shown_s
        self.clip_s = np.asarray(shown - shown[0], dtype=np.float64)
        low = 0 if from_s is None else int(np.searchsorted(self.clip_s, from_s - 1e-6))
        high = len(shown) if until_s is None else int(np.searchsorted(self.clip_s, until_s + 1e-6, side="right"))
        self.first, self.last = low, max(low, high - 1)
        #: Cameras that were found, by the blocks of the sheet on which they stand.
        self.cameras: dict[tuple[TableSheet, CameraSheet], tuple[TableView, StageNote]] = {}
        self._kept: OrderedDict[int, Frame] = OrderedDict()
        self._looked: tuple[Frame, ...] | None = None
        self._lock = Lock()

    def frame(self, number: int) -> Frame:
        """A picture by its number.

        Raises
        ------
        FootageError
            Where there is no such picture, or it cannot be decoded.
        """
        if not self.first <= number <= self.last:
            raise FootageError(f"there is no picture {number}; they go from {self.first} to {self.last}")
        with self._lock:
            if number in self._kept:
                self._kept.move_to_end(number)
                return self._kept[number]
            at_s = float(self.clip_s[number])
            for frame in self.between(max(number - _NEAR, self.first), min(number + _NEAR, self.last)):
                self._kept[frame.index] = _copied(frame)
                self._kept.move_to_end(frame.index)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
            if number not in self._kept:
                raise FootageError(f"the picture at {at_s:.2f} s of the clip cannot be decoded")
            return self._kept[number]

    def between(self, first: int, last: int) -> Iterator[Frame]:
        """Pictures from one to another, both included, that can be decoded."""
        yield from read_frames(self.facts, float(self.clip_s[first]), float(self.clip_s[last]))

    def looked(self) -> tuple[Frame, ...]:
        """Single pictures from all over the clip, as the analysis looks at them first."""
        with self._lock:
            if self._looked is None:
                frames = first_look(self.facts, from_s=self.part[0], until_s=self.part[1])
                self._looked = tuple(_copied(frame) for frame in frames)
            return self._looked

    def picture(self, number: int) -> bytes:
        """A picture as PNG, upright: clicks are set on what the clip holds, not on what another coder made of it."""
        frame = self.frame(number)
        return encode_png(show_colours(frame, self.facts)[..., ::-1])


def show_colours(frame: Frame, facts: ClipFacts) -> Picture:
    """A picture in red, green and blue (rows, cols, 3)."""
    size = (frame.luma.shape[1], frame.luma.shape[0])
    blue, red = (
        np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_LINEAR), dtype=np.uint8)
        for plane in (frame.blue, frame.red)
    )
    return colours_of(np.ascontiguousarray(frame.luma), blue, red, facts.matrix, full_range=facts.full_range)


def encode_png(picture: Picture) -> bytes:
    """A picture (rows, cols) or (rows, cols, 3 or 4), blue first, as PNG; quickly rather than small."""
    done, data = cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    if not done:
        raise FootageError("a picture cannot be shown")
    return bytes(data.tobytes())


def _copied(frame: Frame) -> Frame:
    """A frame of its own: those of a decoder keep its memory alive."""
    return replace(frame, luma=frame.luma.copy(), blue=frame.blue.copy(), red=frame.red.copy())
