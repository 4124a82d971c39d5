"""Decoding goes on while a frame is looked at: a thread of its own reads a little ahead."""

import threading
from collections.abc import Generator, Iterator
from queue import SimpleQueue
from typing import Final

from matchvision.records.frames import Frame

#: Frames that wait at most; each holds a decoder's picture in memory.
_AHEAD: Final = 4


def read_ahead(frames: Iterator[Frame]) -> Generator[Frame, None, None]:
    """The same frames in the same order, read by a thread that is a few frames ahead; what it raises is raised here.

    Notes
    -----
    Decoder and compiled kernels let go of Python's lock, so that reading and looking share two cores.
    Checked by: tests/footage/test_ahead.py::test_frames_come_whole_and_in_order
    """
    waiting: SimpleQueue[Frame | Exception | None] = SimpleQueue()
    # The reader takes one of these for each frame, and gets it back when the frame is taken: False, nobody wants more.
    # Such queues hand over in a tenth of the time of one with a length of its own.
    wanted: SimpleQueue[bool] = SimpleQueue()
    for _ in range(_AHEAD):
        wanted.put(True)
    reader = threading.Thread(target=_read, args=(frames, waiting, wanted), daemon=True)
    reader.start()
    try:
        while (taken := waiting.get()) is not None:
            if isinstance(taken, Exception):
                raise taken
            wanted.put(True)
            yield taken
    finally:
        wanted.put(False)
        reader.join()


def _read(frames: Iterator[Frame], waiting: "SimpleQueue[Frame | Exception | None]", wanted: SimpleQueue[bool]) -> None:
    last: Exception | None = None
    try:
        for frame in frames:
            if not wanted.get():
                return
            waiting.put(frame)
    except Exception as fault:
        # Whatever it is, it belongs to whoever asked for frames.
        last = fault
    waiting.put(last)
