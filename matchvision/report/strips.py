"""A strip of enlarged pictures about the moment at which a rope came off, for whoever wants to see why."""

from base64 import b64encode
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import project_points
from matchvision.records.events import Event
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import Analysis
from matchvision.report.canvas import colours_of

Picture = npt.NDArray[np.uint8]
#: Gives the pictures of a part of the clip, from and until clip times.
Reader = Callable[[float, float], Iterable[Frame]]

#: Moments that are shown, from the event [s].
MOMENTS_S: Final = (-0.5, -0.33, -0.17, 0.0, 0.17, 0.33, 0.5)
#: Width and height of what is shown [m] and of each picture [px].
SHOWN_M: Final = (0.36, 0.27)
TILE_PX: Final = (240, 180)


@dataclass(frozen=True)
class Strip:
    """Pictures side by side as a JPEG, what they show, and when each was taken, from the event [s]."""

    title: str
    jpeg: bytes
    offsets_s: tuple[float, ...]

    @property
    def uri(self) -> str:
        """As the page holds it."""
        return "data:image/jpeg;base64," + b64encode(self.jpeg).decode("ascii")

    @property
    def words(self) -> str:
        """When its pictures were taken."""
        return ", ".join(f"{offset:+.2f}".replace("-", "−") for offset in self.offsets_s)


def cut_strips(analysis: Analysis, read: Reader) -> list[Strip]:
    """A strip for every rope that came off a machine that was seen; none where its pictures cannot be read."""
    if analysis.grip is None:
        return []
    found = (cut_strip(analysis, event, read) for event in analysis.grip.events if event.kind == "rope-off")
    return [strip for strip in found if strip is not None]


def cut_strip(analysis: Analysis, event: Event, read: Reader) -> Strip | None:
    """The hitch, half a second before the rope came off it to half a second after."""
    window = _window_px(analysis, event)
    if window is None:
        return None
    clock = analysis.clock
    at_s = clock.start_clip_s + event.start_s / clock.real_per_clip_ratio
    wanted = [at_s + offset / clock.real_per_clip_ratio for offset in MOMENTS_S]
    step_s = float(np.median(np.diff(analysis.motion.clip_s)))
    best: list[tuple[float, Picture] | None] = [None] * len(wanted)
    for frame in read(max(0.0, wanted[0] - step_s), wanted[-1] + step_s):
        for k, moment in enumerate(wanted):
            off_s = abs(frame.clip_s - moment)
            known = best[k]
            if off_s <= step_s and (known is None or off_s < abs(known[0] - moment)):
                best[k] = (frame.clip_s, _tile(frame, analysis.clip, window))
    tiles = [one for one in best if one is not None]
    if len(tiles) < 2:
        return None
    gap = np.full((TILE_PX[1], 4, 3), 255, dtype=np.uint8)
    row = [piece for _, tile in tiles for piece in (tile, gap)][:-1]
    done, jpeg = cv2.imencode(".jpg", np.concatenate(row, axis=1), [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        return None
    offsets = tuple((clip_s - at_s) * clock.real_per_clip_ratio for clip_s, _ in tiles)
    return Strip(f"Where the rope came off {event.machine}", jpeg.tobytes(), offsets)


def _window_px(analysis: Analysis, event: Event) -> tuple[int, int, int, int] | None:
    """Left, top, width and height of what is shown: about the hitch at that moment; None where it is not known."""
    machine = analysis.run.sheet.machine.get(event.machine)
    moved = analysis.motion.machines.get(event.machine)
    if machine is None or moved is None or machine.hitch is None:
        return None
    at = int(np.argmin(np.abs(analysis.clock.match_time(analysis.motion.clip_s) - event.start_s)))
    known = np.flatnonzero(np.isfinite(moved.x_m))
    if len(known) == 0:
        return None
    at = int(known[np.argmin(np.abs(known - at))])
    heading = np.deg2rad(moved.heading_deg[at] if np.isfinite(moved.heading_deg[at]) else 0.0)
    x, y, z = machine.hitch.at_m
    place = np.array([
        moved.x_m[at] + np.cos(heading) * x - np.sin(heading) * y,
        moved.y_m[at] + np.sin(heading) * x + np.cos(heading) * y,
        z,
    ])  # fmt: skip
    cameras = analysis.cameras
    row = int(np.clip(np.searchsorted(cameras.frame, analysis.motion.frame[at]), 0, len(cameras.frame) - 1))
    parameters = cameras.parameters[row if cameras.moves else 0]
    middle, beside = project_points(parameters, np.stack([place, place + np.array([0.1, 0.0, 0.0])]))
    scale = float(np.hypot(*(beside - middle))) / 0.1
    if not np.isfinite(scale) or scale <= 0:
        return None
    width, height = (max(16, round(size * scale)) for size in SHOWN_M)
    left = int(np.clip(round(middle[0] - width / 2), 0, max(0, cameras.width_px - width)))
    top = int(np.clip(round(middle[1] - height / 2), 0, max(0, cameras.height_px - height)))
    return left, top, width, height


def _tile(frame: Frame, facts: ClipFacts, window: tuple[int, int, int, int]) -> Picture:
    """A part of a picture, enlarged, in blue, green and red."""
    left, top, width, height = window
    step_col, step_row = frame.chroma_step_px
    luma = frame.luma[top : top + height, left : left + width]
    size = (luma.shape[1], luma.shape[0])
    part = (
        slice(top // step_row, -(-(top + height) // step_row)),
        slice(left // step_col, -(-(left + width) // step_col)),
    )
    blue, red = (
        np.asarray(cv2.resize(plane[part], size, interpolation=cv2.INTER_LINEAR), dtype=np.uint8)
        for plane in (frame.blue, frame.red)
    )
    colours = colours_of(luma, blue, red, facts.matrix, full_range=facts.full_range)
    return np.asarray(cv2.resize(colours[..., ::-1], TILE_PX, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
