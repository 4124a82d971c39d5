"""Decoding goes on while a frame is looked at: a thread of its own reads a little ahead."""

import queue
import threading
from collections.abc import Generator, Iterator
from typing import Final

from matchvision.records.frames import Frame

#: Frames that wait at most; each holds a decoder's picture in memory.
_AHEAD: Final = 3
#: How long the reading thread waits before it asks again whether anybody still wants frames [s].
_PATIENCE_S: Final = 0.2


def read_ahead(frames: Iterator[Frame]) -> Generator[Frame, None, None]:
    """The same frames in the same order, read by a thread that is a few frames ahead; what it raises is raised here.

    Notes
    -----
    Decoder and compiled kernels let go of Python's lock, so that reading and looking share two cores.
    Checked by: tests/footage/test_ahead.py::test_frames_come_whole_and_in_order
    """
    waiting: queue.Queue[Frame | Exception | None] = queue.Queue(_AHEAD)
    unwanted = threading.Event()
    reader = threading.Thread(target=_read, args=(frames, waiting, unwanted), daemon=True)
    reader.start()
    try:
        while (taken := waiting.get()) is not None:
            if isinstance(taken, Exception):
                raise taken
            yield taken
    finally:
        unwanted.set()
        reader.join()


def _read(frames: Iterator[Frame], waiting: "queue.Queue[Frame | Exception | None]", unwanted: threading.Event) -> None:
    try:
        for frame in frames:
            if not _hand_over(frame, waiting, unwanted):
                return
    except Exception as fault:
        # Whatever it is, it belongs to whoever asked for frames.
        _hand_over(fault, waiting, unwanted)
    else:
        _hand_over(None, waiting, unwanted)


def _hand_over(
    item: Frame | Exception | None, waiting: "queue.Queue[Frame | Exception | None]", unwanted: threading.Event
) -> bool:
    """Put an item where it is waited for; False where nobody waits any more."""
    while not unwanted.is_set():
        try:
            waiting.put(item, timeout=_PATIENCE_S)
        except queue.Full:
            continue
        return True
    return False
