"""Rows kept for as long as a clip lasts come back as they were, and take no memory with their number."""

import tempfile
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import OutputError
from matchvision.markers.recording import Record
from matchvision.records.growing import GrowingRows


@pytest.mark.parametrize("held_bytes", [1, 7 * 48, 100_000])
def test_rows_come_back_as_they_were_put_in(held_bytes: int) -> None:
    rows = np.random.default_rng(1).normal(0, 1, (100, 2, 3))
    growing = GrowingRows((2, 3), held_bytes=held_bytes)
    for k, row in enumerate(rows):
        assert len(growing) == k
        growing.append(row)
        if k == 40:
            np.testing.assert_array_equal(growing.whole(), rows[:41])
    whole = growing.whole()
    np.testing.assert_array_equal(whole, rows)
    whole[:] = 0
    np.testing.assert_array_equal(growing.whole(), rows)


def test_bytes_and_rows_without_anything_in_them_are_kept_too() -> None:
    packed = np.random.default_rng(2).integers(0, 256, (50, 9)).astype(np.uint8)
    growing = GrowingRows((9,), np.uint8, held_bytes=100)
    growing.extend(packed)
    np.testing.assert_array_equal(growing.whole(), packed)
    empty = GrowingRows((2, 0, 2), held_bytes=1)
    empty.extend(np.empty((5, 2, 0, 2)))
    assert empty.whole().shape == (5, 2, 0, 2)
    assert GrowingRows((4,)).whole().shape == (0, 4)


def test_a_full_disk_is_told_plainly(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "nowhere"))
    growing = GrowingRows((4,), held_bytes=1)
    growing.append(np.zeros(4))
    with pytest.raises(OutputError, match="cannot be set aside"):
        growing.append(np.zeros(4))


def keep_places(frames: int) -> None:
    record = Record(22)
    places = np.random.default_rng(3).normal(500, 100, (22, 2))
    for k in range(frames):
        record.take(k, k / 60, places, places)
    assert len(record.frame) == frames


def keep_cameras(frames: int) -> None:
    covariances = GrowingRows((15, 15))
    one = np.random.default_rng(4).normal(0, 1, (15, 15))
    for _ in range(frames):
        covariances.append(one)


@pytest.mark.parametrize("keep", [keep_places, keep_cameras])
def test_memory_does_not_grow_with_the_clip(keep: Callable[[int], None]) -> None:
    peak_MB = {frames: peak_of(keep, frames) for frames in (10_000, 40_000)}
    # Times and numbers of frames stay in memory: 16 bytes each, and an array that grows makes room ahead.
    assert peak_MB[40_000] - peak_MB[10_000] < 30_000 * 16 * 1.5 / 1e6
    assert peak_MB[40_000] < 8


def peak_of(keep: Callable[[int], None], frames: int) -> float:
    tracemalloc.start()
    try:
        keep(frames)
        return tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()
