"""When each picture is shown: presentation times from the container, never from index and nominal rate."""

import functools
import heapq
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

import av
import numpy as np
import numpy.typing as npt

from matchvision.errors import FootageError
from matchvision.footage.opening import open_clip

#: Times closer than this are one and the same [s].
SAME_TIME_S: Final = 1e-6

Picture = TypeVar("Picture")


@dataclass(frozen=True, eq=False)
class ClipTimes:
    """Presentation times of all shown pictures as the container states them, before decoding.

    Attributes
    ----------
    shown_s : (n,) float array
        Sorted, on the container's own clock (not yet less the first) [s].
    keyframe_s : (k,) float array
        Those of pictures at which decoding can start.
    stated : int
        Number of pictures that the container's header promises, 0 where it does not say.
    is_cut : bool
        An edit list takes a piece out of the middle.
    """

    shown_s: npt.NDArray[np.float64]
    keyframe_s: npt.NDArray[np.float64]
    stated: int
    is_cut: bool = False

    @property
    def first_s(self) -> float:
        """Time of the first picture, from which `clip_s` counts; 0 without any."""
        return float(self.shown_s[0]) if len(self.shown_s) else 0.0

    def number_at(self, time_s: float) -> int:
        """Number of the picture that is shown at a time of the container's clock, counted from 0."""
        return int(np.searchsorted(self.shown_s, time_s - SAME_TIME_S))

    @property
    def rate_per_s(self) -> float:
        """Pictures a second where none is missing: each step counts as its whole number of usual steps.

        NaN for fewer than two pictures.
        """
        steps_s = np.diff(self.shown_s)
        steps_s = steps_s[steps_s > 0]
        if not len(steps_s):
            return float("nan")
        pictures = np.maximum(1, np.rint(steps_s / np.median(steps_s)))
        return float(pictures.sum() / steps_s.sum())


def scan_times(path: Path) -> ClipTimes:
    """Read every picture's presentation time from the container, without decoding.

    Pictures that an edit list hides are left out. A clip that ends early gives the times that are there.

    Raises
    ------
    FootageError
        The clip cannot be opened, or its pictures carry no times.
    """
    try:
        state = path.stat()
    except OSError:
        return _scan(path, -1, -1)
    return _scan(path, state.st_size, state.st_mtime_ns)


@functools.lru_cache(maxsize=4)
def _scan(path: Path, size: int, changed_ns: int) -> ClipTimes:
    """The times of a file in the state told by its size and time of change; several stages ask for them."""
    shown: list[float] = []
    keyframes: list[float] = []
    hidden: list[float] = []
    with open_clip(path) as (container, stream):
        stated, base = int(stream.frames), stream.time_base
        try:
            for packet in container.demux(stream):
                # Once a container: a fraction for each packet would take longer than reading it.
                base = base or packet.time_base
                if packet.size == 0 or packet.is_discard:
                    if packet.size and packet.pts is not None and base is not None:
                        hidden.append(packet.pts * base.numerator / base.denominator)
                    continue
                if packet.pts is None or base is None:
                    msg = f"picture {len(shown)} carries no presentation time"
                    do = "put the pictures into an mp4 or mkv file that keeps their times"
                    raise FootageError(msg, where=str(path), do=do)
                time_s = packet.pts * base.numerator / base.denominator
                shown.append(time_s)
                if packet.is_keyframe:
                    keyframes.append(time_s)
        except (av.error.InvalidDataError, av.error.EOFError):
            # A file cut short after its table of contents: what was reached still serves.
            pass
    # At its ends an edit hides pictures that come before all or after all that it shows.
    is_cut = bool(shown) and any(min(shown) < time_s < max(shown) for time_s in hidden)
    times = ClipTimes(np.sort(np.array(shown)), np.sort(np.array(keyframes)), stated, is_cut)
    times.shown_s.flags.writeable = times.keyframe_s.flags.writeable = False
    return times


def count_stored(path: Path) -> int:
    """Pictures that the file really holds, those that an edit list hides among them; nothing is decoded."""
    with open_clip(path, {"ignore_editlist": "1"}) as (container, stream):
        count = 0
        try:
            for packet in container.demux(stream):
                count += packet.size > 0
        except (av.error.InvalidDataError, av.error.EOFError):
            # Cut short: what was reached counts.
            return count
    return count


def pair_in_order(decoded: Iterable[tuple[float, Picture]], depth: int) -> Iterator[tuple[float, Picture]]:
    """Give pictures, which come in the right order, their times in rising order.

    Some files store times in coding order: the pictures decode in the right order while their times jump back. The
    earliest time not yet given goes to the next picture, looking ahead by the codec's reordering depth. Times that
    still do not rise are passed over together with their picture.

    Parameters
    ----------
    decoded : (time [s], picture) pairs in order of decoding
    depth : int
        How many pictures may be held back.
    """
    waiting: deque[Picture] = deque()
    times: list[float] = []
    last_s = -np.inf
    for time_s, picture in decoded:
        waiting.append(picture)
        heapq.heappush(times, time_s)
        while len(waiting) > depth:
            earliest_s, first = heapq.heappop(times), waiting.popleft()
            if earliest_s > last_s:
                last_s = earliest_s
                yield earliest_s, first
    while waiting:
        earliest_s, first = heapq.heappop(times), waiting.popleft()
        if earliest_s > last_s:
            last_s = earliest_s
            yield earliest_s, first


def count_backward_steps(times_s: Iterable[float]) -> int:
    """How many of the times are earlier than the one before."""
    return int(np.sum(np.diff(np.fromiter(times_s, dtype=np.float64)) < 0))
