"""Reading ahead changes when frames are decoded and nothing else."""

import threading
from collections.abc import Iterator

import numpy as np
import pytest

from matchvision.errors import FootageError
from matchvision.footage.ahead import read_ahead
from matchvision.records.frames import Frame


def frames(count: int, told: list[int]) -> Iterator[Frame]:
    for k in range(count):
        told.append(k)
        plane = np.full((4, 4), k, dtype=np.uint8)
        yield Frame(k, k / 30, plane, plane, plane, (1, 1), (0.0, 0.0))


def test_frames_come_whole_and_in_order() -> None:
    seen = list(read_ahead(frames(40, [])))
    assert [f.index for f in seen] == list(range(40))
    assert all((f.luma == f.index).all() for f in seen)


def test_little_is_read_ahead_and_reading_stops_with_the_reader() -> None:
    told: list[int] = []
    before = threading.active_count()
    ahead = read_ahead(frames(1000, told))
    assert next(ahead).index == 0
    ahead.close()
    assert len(told) < 10
    assert threading.active_count() == before


def test_a_fault_in_reading_is_raised_where_frames_are_asked_for() -> None:
    def broken() -> Iterator[Frame]:
        yield from frames(3, [])
        raise FootageError("the clip breaks off", where="clip.mp4")

    ahead = read_ahead(broken())
    assert [next(ahead).index for _ in range(3)] == [0, 1, 2]
    with pytest.raises(FootageError, match="breaks off"):
        next(ahead)
