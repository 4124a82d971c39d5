"""The clip's sound track as samples on the pictures' time line."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import av
import numpy as np
import numpy.typing as npt
from av import AudioFrame

from matchvision.errors import CannotMeasure
from matchvision.footage.opening import open_clip
from matchvision.footage.timing import scan_times
from matchvision.records.frames import ClipFacts

#: An evening's sound is long: 32 bits hold all that a phone's 16 bits say.
Samples = npt.NDArray[np.float32]

#: Sound whose times leave so much out, or jump back so far, was cut there [s]; less is the rounding of a file's times.
_CUT_S: Final = 0.02
_GIVE_START: Final = "look up the clip time of the start signal and give it as [clock] start_s"


@dataclass(frozen=True, eq=False)
class Sound:
    """One channel, −1 to 1. ``first_clip_s`` is the clip time of the first sample; what was cut out is silent."""

    samples: npt.NDArray[np.floating[Any]]
    rate_Hz: float
    first_clip_s: float


def read_sound(facts: ClipFacts) -> Sound:
    """The first sound track, its channels averaged.

    The container's edits of both tracks are applied by the reader; the sound is laid against the first picture shown.

    Raises
    ------
    CannotMeasure
        The clip has no sound that can be read.

    Notes
    -----
    Some files round each packet's time to a millisecond. Samples follow each other without gaps all the same, so the
    median over all packets of (stated time − time by count) places them to a few hundredths of a millisecond.
    Checked by: tests/footage/test_sound.py::test_a_beep_is_dated_in_every_container
    """
    pieces = [p for p in _decode_sound(facts.path) if p.pts is not None and p.time_base is not None and p.samples]
    if not pieces:
        raise CannotMeasure("the clip has no sound that can be read", do=_GIVE_START)
    rate_Hz = float(pieces[0].sample_rate)
    shift_s: list[float] = []
    chunks: list[Samples] = []
    count = 0
    for piece in pieces:
        stated_s = float((piece.pts or 0) * (piece.time_base or 0))
        ahead_s = stated_s - count / rate_Hz - (float(np.median(shift_s)) if shift_s else stated_s)
        if ahead_s > _CUT_S:
            missing = round(ahead_s * rate_Hz)
            chunks.append(np.zeros(missing, dtype=np.float32))
            count += missing
        shift_s.append(stated_s - count / rate_Hz)
        samples = _mix_down(piece)
        chunks.append(samples)
        count += len(samples)
    shown_s = scan_times(facts.path).shown_s
    first_picture_s = float(shown_s[0]) if len(shown_s) else 0.0
    return Sound(np.concatenate(chunks), rate_Hz, float(np.median(shift_s)) - first_picture_s)


def _decode_sound(path: Path) -> Iterator[AudioFrame]:
    with open_clip(path) as (container, _):
        if not container.streams.audio:
            return
        try:
            yield from container.decode(container.streams.audio[0])
        except (av.error.FFmpegError, ValueError):
            # A track that breaks off: what was reached still serves.
            return


def _mix_down(piece: AudioFrame) -> Samples:
    """Mean of the channels, −1 to 1; packed channels are told apart."""
    block = piece.to_ndarray()
    channels = max(1, len(piece.layout.channels))
    if not piece.format.is_planar and channels > 1:
        block = block.reshape(-1, channels).T
    mono = block.mean(axis=0)
    if np.issubdtype(block.dtype, np.unsignedinteger):
        return np.asarray((mono - 128.0) / 128.0, dtype=np.float32)
    # 16 and 32 bit whole numbers reach half their range; floating ones reach 1.
    full = 2.0 ** (8 * block.dtype.itemsize - 1) if np.issubdtype(block.dtype, np.integer) else 1.0
    return np.asarray(mono / full, dtype=np.float32)
