"""Single camera pictures, whole, for a page: when the clock started and when it stopped."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import Analysis, CauseRow, Grounds
from matchvision.report.canvas import colours_of
from matchvision.report.strips import Reader

#: Width of a picture on the page [px]: sharp in print at a third of A4's width.
WIDTH_PX: Final = 720
#: When the pictures of a cause are taken, from the moment since which it was at work [s].
AROUND_CAUSE_S: Final = (-0.25, 0.5)
_QUALITY: Final = 82


@dataclass(frozen=True)
class Still:
    """A camera picture as a JPEG, what it shows, and its clip time."""

    title: str
    jpeg: bytes
    clip_s: float

    @property
    def uri(self) -> str:
        """As a page holds it."""
        return "data:image/jpeg;base64," + b64encode(self.jpeg).decode("ascii")


def cut_stills(analysis: Analysis, read: Reader) -> list[Still]:
    """The pictures nearest to the start and to the end of the match; what the clip does not show is left out."""
    clock = analysis.clock
    wanted = (("When the clock started", clock.start_clip_s), ("When the clock stopped", clock.end_clip_s))
    stills = (cut_still(analysis.motion.clip_s, analysis.clip, title, at_s, read) for title, at_s in wanted)
    return [still for still in stills if still is not None]


def cut_cause(grounds: Grounds, facts: ClipFacts, causes: Sequence[CauseRow], read: Reader) -> list[Still]:
    """Pictures just before and after the moment since which the likeliest cause was at work; none if it has none."""
    likeliest = max(causes, key=lambda cause: cause.probability, default=None)
    if likeliest is None or not np.isfinite(likeliest.since_s):
        return []
    clock = grounds.clock
    wanted = [(f"{abs(off):g} s {'before' if off < 0 else 'after'}", likeliest.since_s + off) for off in AROUND_CAUSE_S]
    stills = (
        cut_still(grounds.motion.clip_s, facts, words, clock.start_clip_s + t_s / clock.real_per_clip_ratio, read)
        for words, t_s in wanted
    )
    return [still for still in stills if still is not None]


def cut_still(clip_s: FloatArray, facts: ClipFacts, title: str, at_s: float, read: Reader) -> Still | None:
    """The picture nearest to a clip time, of those at ``clip_s``; None where there is none within a step of it."""
    nearest_s = float(clip_s[np.abs(clip_s - at_s).argmin()])
    step_s = float(np.median(np.diff(clip_s))) if len(clip_s) > 1 else 0.0
    if abs(nearest_s - at_s) > step_s:
        return None
    frame = next(iter(read(max(0.0, nearest_s - step_s / 2), nearest_s + step_s / 2)), None)
    if frame is None:
        return None
    done, jpeg = cv2.imencode(".jpg", _shrink(frame, facts), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return Still(title, jpeg.tobytes(), frame.clip_s) if done else None


def _shrink(frame: Frame, facts: ClipFacts) -> np.ndarray:
    """The whole picture in blue, green and red, no wider than the page needs."""
    rows, cols = frame.luma.shape
    width = min(WIDTH_PX, cols)
    size = (width, max(1, round(rows * width / cols)))
    luma, blue, red = (
        np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        for plane in (frame.luma, frame.blue, frame.red)
    )
    return np.ascontiguousarray(colours_of(luma, blue, red, facts.matrix, full_range=facts.full_range)[..., ::-1])
