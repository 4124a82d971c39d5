"""A first look at a clip: single pictures from all over it, and some of its beginning."""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from os import cpu_count
from typing import Final

import av
import numpy as np
import numpy.typing as npt

from matchvision.footage.opening import open_clip
from matchvision.footage.planes import Turn, take_frame
from matchvision.footage.reading import chroma_is_centred, has_unsorted_times, read_frames
from matchvision.footage.timing import SAME_TIME_S, ClipTimes, scan_times
from matchvision.records.frames import ClipFacts, Frame

#: Places from which single pictures are taken, each where decoding can start: such pictures are whole in themselves, so
#: that their noise is not the noise of their neighbours, and one costs as much time as several that build on others.
_PLACES: Final = 6
#: The beginning from which the others are taken, in pictures.
_BEGINNING: Final = 12


def first_look(
    facts: ClipFacts,
    at_most: int = 12,
    from_s: float | None = None,
    until_s: float | None = None,
    begin: Sequence[Frame] | None = None,
) -> tuple[Frame, ...]:
    """At most so many frames of a clip or a part of it, its first one and some that are spread over it among them.

    Parameters
    ----------
    at_most : int
        Number of frames wanted, at least 1.
    from_s, until_s : float, optional
        Look only at this part of the clip [s, clip time].
    begin : sequence of Frames, optional
        The part's first pictures in turn, where somebody has read them already; some of them are taken.

    Raises
    ------
    FootageError
        The clip cannot be opened any more, or not one picture can be decoded.

    Notes
    -----
    Checked by: tests/footage/test_reading.py::test_a_first_look_is_spread_and_small
    """
    spread = _look_at_places(facts, min(_PLACES, at_most - 1), from_s, until_s)
    wanted = at_most - len(spread)
    if begin is None:
        begin = _look_at_beginning(facts, wanted, from_s, until_s)
    else:
        begin = [begin[k] for k in _choose(len(begin), wanted)]
    frames = {frame.index: frame for frame in (*spread, *begin)}
    return tuple(frames[index] for index in sorted(frames))


def _look_at_beginning(facts: ClipFacts, wanted: int, from_s: float | None, until_s: float | None) -> list[Frame]:
    """Pictures of the part's beginning, not each of them where few are wanted: neighbours err alike."""
    frames = islice(read_frames(facts, from_s, until_s, some=True), max(wanted, _BEGINNING))
    chosen = _choose(max(wanted, _BEGINNING), wanted)
    # Pictures are let go of as they come: each holds some of the decoder's memory.
    return [frame for k, frame in enumerate(frames) if k in chosen]


def _choose(count: int, wanted: int) -> list[int]:
    """Which of so many are taken, spread over them."""
    return [int(k) for k in np.unique(np.linspace(0, count - 1, min(wanted, count)).round())]


def look_throughout(
    facts: ClipFacts, looked: Sequence[Frame], from_s: float | None = None, until_s: float | None = None
) -> tuple[Frame, ...]:
    """A first look and single pictures from wherever in the part it has none near; nothing where it got about.

    Everything up to the last of them is decoded, which takes as long as watching the clip: only for a clip that can be
    decoded from its beginning alone, and whose beginning does not show what is needed.

    Parameters
    ----------
    looked : sequence of Frames
        What `first_look` gave.

    Notes
    -----
    Checked by: tests/footage/test_reading.py::test_a_clip_without_places_to_start_at_is_looked_through_when_asked
    """
    due_s = list_gaps(looked, facts.duration_s if until_s is None else until_s)
    found: list[Frame] = []
    for frame in read_frames(facts, from_s, until_s) if due_s else ():
        if frame.clip_s >= due_s[0]:
            found.append(frame)
            due_s.pop(0)
        if not due_s:
            break
    return (*looked, *found) if found else ()


def list_gaps(looked: Sequence[Frame], end_s: float, count: int = _PLACES) -> list[float]:
    """Clip times of places spread between a look's first picture and the end that have none of its pictures near."""
    times_s = np.linspace(looked[0].clip_s, end_s, count + 2)
    known_s = np.array([frame.clip_s for frame in looked])
    return [t for t in times_s[1:-1].tolist() if np.abs(known_s - t).min() > times_s[1] - times_s[0]]


def _look_at_places(facts: ClipFacts, count: int, from_s: float | None, until_s: float | None) -> list[Frame]:
    """Single pictures at which decoding can start, spread over the part, its first picture left out."""
    if count < 1 or has_unsorted_times(facts):
        # Sorted times belong to pictures only when all are decoded in turn.
        return []
    times = scan_times(facts.path)
    if not len(times.shown_s):
        return []
    begin_s = times.first_s + (0.0 if from_s is None else from_s) + SAME_TIME_S
    end_s = np.inf if until_s is None else times.first_s + until_s + SAME_TIME_S
    starts_s = times.keyframe_s[(times.keyframe_s > begin_s) & (times.keyframe_s <= end_s)]
    if len(starts_s) > count:
        starts_s = starts_s[np.linspace(0, len(starts_s) - 1, count).round().astype(int)]
    workers = min(cpu_count() or 1, len(starts_s))
    if workers < 2:
        return list(_take_singly(facts, starts_s, times))
    with ThreadPoolExecutor(workers) as pool:
        shares = pool.map(lambda k: list(_take_singly(facts, starts_s[k::workers], times)), range(workers))
        return [frame for share in shares for frame in share]


def _take_singly(facts: ClipFacts, starts_s: npt.NDArray[np.float64], times: ClipTimes) -> Iterator[Frame]:
    """One picture at each of the times, nothing decoded beyond it; one that cannot be decoded is left out."""
    turn, centred = Turn(facts.rotation_deg // 90, facts.mirrored), chroma_is_centred(facts)
    with open_clip(facts.path) as (container, stream):
        # Whoever asks has threads of his own; threads that decode ahead would decode what nobody wants.
        stream.thread_type, stream.codec_context.thread_count = "SLICE", 1
        tick_s = float(stream.time_base or 1)
        for start_s in starts_s.tolist():
            container.seek(round(start_s / tick_s), stream=stream, backward=True)
            try:
                for packet in container.demux(stream):
                    if packet.pts is None:
                        break
                    # Pictures before the one wanted may be needed to place it, and are not looked at.
                    found = [*packet.decode()]
                    if packet.is_keyframe and packet.pts * tick_s >= start_s - SAME_TIME_S:
                        found += stream.codec_context.decode(None)
                        pictures = [p for p in found if p.pts is not None and p.key_frame and not p.is_corrupt]
                        for picture in pictures[-1:]:
                            time_s = float((picture.pts or 0) * tick_s)
                            yield take_frame(picture, times.number_at(time_s), time_s - times.first_s, turn, centred)
                        break
            except (av.error.InvalidDataError, av.error.EOFError):
                continue
