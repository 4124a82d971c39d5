"""A strip of enlarged pictures about the moment at which a rope came off, for whoever wants to see why."""

from base64 import b64encode
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
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
#: Height of the line of words under the pictures, space between them and radius of the ring about the hitch [px].
LINE_PX: Final = 24
GAP_PX: Final = 4
RING_PX: Final = 16
#: Blue, green and red of what is drawn into the pictures.
MARK: Final = (20, 205, 240)


@dataclass(frozen=True)
class Strip:
    """Pictures side by side as a JPEG, what they show, when each was taken, from the event [s], and their numbers.

    Before them stands the whole picture of that moment, small, with a frame about what is enlarged.
    """

    title: str
    jpeg: bytes
    offsets_s: tuple[float, ...]
    numbers: tuple[int, ...] = ()

    @property
    def uri(self) -> str:
        """As the page holds it."""
        return "data:image/jpeg;base64," + b64encode(self.jpeg).decode("ascii")

    @property
    def source(self) -> str:
        """Where its pictures come from."""
        if not self.numbers:
            return ""
        return (
            f"Pictures {self.numbers[0]} to {self.numbers[-1]} of the clip, enlarged where the small picture on the "
            "left has its frame; the ring stands where the machine's hitch was measured to be."
        )

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
    best: list[tuple[Frame, Picture] | None] = [None] * len(wanted)
    whole: Picture | None = None
    for frame in read(max(0.0, wanted[0] - step_s), wanted[-1] + step_s):
        for k, moment in enumerate(wanted):
            off_s = abs(frame.clip_s - moment)
            known = best[k]
            if off_s <= step_s and (known is None or off_s < abs(known[0].clip_s - moment)):
                best[k] = (frame, _tile(frame, analysis, event.machine, window))
                if MOMENTS_S[k] == 0.0:
                    whole = _overview(frame, analysis.clip, window)
    tiles = [one for one in best if one is not None]
    if len(tiles) < 2:
        return None
    offsets = tuple((frame.clip_s - at_s) * clock.real_per_clip_ratio for frame, _ in tiles)
    parts = [] if whole is None else [_labelled(whole, f"{at_s:.2f} s of the clip")]
    parts += [_labelled(tile, f"{offset:+.2f} s") for offset, (_, tile) in zip(offsets, tiles, strict=True)]
    gap = np.full((TILE_PX[1] + LINE_PX, GAP_PX, 3), 255, dtype=np.uint8)
    row = [piece for part in parts for piece in (part, gap)][:-1]
    done, jpeg = cv2.imencode(".jpg", np.concatenate(row, axis=1), [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not done:
        return None
    numbers = tuple(frame.index for frame, _ in tiles)
    return Strip(f"Where the rope came off {event.machine}", jpeg.tobytes(), offsets, numbers)


def _hitch_at(analysis: Analysis, name: str, at: int) -> tuple[FloatArray, FloatArray] | None:
    """Pixels of a machine's hitch in a frame, and of a place a decimetre beside it; None where it is not known."""
    machine, moved = analysis.run.sheet.machine.get(name), analysis.motion.machines.get(name)
    if machine is None or moved is None or machine.hitch is None or not np.isfinite(moved.x_m[at]):
        return None
    heading = np.deg2rad(moved.heading_deg[at] if np.isfinite(moved.heading_deg[at]) else 0.0)
    x, y, z = machine.hitch.at_m
    arm = next((a for a in analysis.motion.arms if a.machine == name), None)
    if machine.hitch.on == "reach" and arm is not None and np.isfinite(arm.reach_m[at]):
        x += arm.outwards * float(arm.reach_m[at])
    place = np.array([
        moved.x_m[at] + np.cos(heading) * x - np.sin(heading) * y,
        moved.y_m[at] + np.sin(heading) * x + np.cos(heading) * y,
        z,
    ])  # fmt: skip
    cameras = analysis.cameras
    row = int(np.clip(np.searchsorted(cameras.frame, analysis.motion.frame[at]), 0, len(cameras.frame) - 1))
    parameters = cameras.parameters[row if cameras.moves else 0]
    middle, beside = project_points(parameters, np.stack([place, place + np.array([0.1, 0.0, 0.0])]))
    return middle, beside


def _overview(frame: Frame, facts: ClipFacts, window: tuple[int, int, int, int]) -> Picture:
    """The whole picture, small, with a frame about the window."""
    rows, cols = frame.luma.shape
    picture = _colours(frame, facts, (0, 0, cols, rows), TILE_PX)
    left, top, width, height = window
    scale = np.array([TILE_PX[0] / cols, TILE_PX[1] / rows])
    a, b = (tuple(int(v) for v in np.rint(np.array(at) * scale)) for at in ((left, top), (left + width, top + height)))
    return np.asarray(cv2.rectangle(picture, a, b, MARK, 2), dtype=np.uint8)


def _labelled(picture: Picture, words: str) -> Picture:
    """A picture over a line of words."""
    line = np.full((LINE_PX, TILE_PX[0], 3), 255, dtype=np.uint8)
    cv2.putText(line, words, (6, LINE_PX - 7), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (60, 50, 40), 1, cv2.LINE_AA)
    return np.concatenate([picture, line])


def _window_px(analysis: Analysis, event: Event) -> tuple[int, int, int, int] | None:
    """Left, top, width and height of what is shown: about the hitch at that moment; None where it is not known."""
    moved = analysis.motion.machines.get(event.machine)
    if moved is None:
        return None
    at = int(np.argmin(np.abs(analysis.clock.match_time(analysis.motion.clip_s) - event.start_s)))
    known = np.flatnonzero(np.isfinite(moved.x_m))
    if len(known) == 0:
        return None
    pixels = _hitch_at(analysis, event.machine, int(known[np.argmin(np.abs(known - at))]))
    if pixels is None:
        return None
    (middle, beside), cameras = pixels, analysis.cameras
    scale = float(np.hypot(*(beside - middle))) / 0.1
    if not np.isfinite(scale) or scale <= 0:
        return None
    width, height = (max(16, round(size * scale)) for size in SHOWN_M)
    left = int(np.clip(round(middle[0] - width / 2), 0, max(0, cameras.width_px - width)))
    top = int(np.clip(round(middle[1] - height / 2), 0, max(0, cameras.height_px - height)))
    return left, top, width, height


def _tile(frame: Frame, analysis: Analysis, machine: str, window: tuple[int, int, int, int]) -> Picture:
    """A part of a picture, enlarged, with a ring where the hitch was measured to be."""
    picture = _colours(frame, analysis.clip, window, TILE_PX)
    at = int(np.clip(np.searchsorted(analysis.motion.clip_s, frame.clip_s - 1e-6), 0, len(analysis.motion.clip_s) - 1))
    hitch = _hitch_at(analysis, machine, at)
    if hitch is None or not np.isfinite(hitch[0]).all():
        return picture
    left, top, width, height = window
    place = (hitch[0] - [left, top]) * [TILE_PX[0] / width, TILE_PX[1] / height]
    x, y = (int(v) for v in np.rint(np.clip(place, -1000, 1000)))
    return np.asarray(cv2.circle(picture, (x, y), RING_PX, MARK, 1, cv2.LINE_AA), dtype=np.uint8)


def _colours(frame: Frame, facts: ClipFacts, window: tuple[int, int, int, int], size_px: tuple[int, int]) -> Picture:
    """A part of a picture at another size, in blue, green and red."""
    left, top, width, height = window
    step_col, step_row = frame.chroma_step_px
    luma = frame.luma[top : top + height, left : left + width]
    part = (
        slice(top // step_row, -(-(top + height) // step_row)),
        slice(left // step_col, -(-(left + width) // step_col)),
    )
    larger = size_px[0] > luma.shape[1]
    if not larger:  # made small first: colours take twelve times a plane's memory
        luma = np.asarray(cv2.resize(luma, size_px, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    how = cv2.INTER_LINEAR if larger else cv2.INTER_AREA
    blue, red = (
        np.asarray(cv2.resize(plane[part], luma.shape[::-1], interpolation=how), dtype=np.uint8)
        for plane in (frame.blue, frame.red)
    )
    colours = colours_of(luma, blue, red, facts.matrix, full_range=facts.full_range)[..., ::-1]
    if larger:
        colours = np.asarray(cv2.resize(colours, size_px, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
    return np.ascontiguousarray(colours)
