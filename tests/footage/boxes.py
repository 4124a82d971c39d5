"""Changing the table of contents of a small mp4 file, box by box (ISO/IEC 14496-12)."""

import struct
from collections.abc import Sequence
from pathlib import Path


def set_edits(path: Path, edits: Sequence[tuple[float, float]], track: int = 0) -> Path:
    """Write a new edit list: (length [s], where in the track [s]; −1 for a time in which nothing is shown)."""
    data = path.read_bytes()
    start, end = _find(data, 0, len(data), b"moov")
    movie_scale = _scale(data, *_find(data, start + 8, end, b"mvhd"))
    traks = [(a, b) for kind, a, b in _boxes(data, start + 8, end) if kind == b"trak"]
    first, last = traks[track]
    mdia = _find(data, first + 8, last, b"mdia")
    media_scale = _scale(data, *_find(data, mdia[0] + 8, mdia[1], b"mdhd"))
    entries = b"".join(
        struct.pack(">IiHH", round(length * movie_scale), -1 if at < 0 else round(at * media_scale), 1, 0)
        for length, at in edits
    )
    elst = _box(b"elst", struct.pack(">II", 0, len(edits)) + entries)
    inside = [data[a:b] for kind, a, b in _boxes(data, first + 8, last) if kind != b"edts"]
    trak = _box(b"trak", inside[0] + _box(b"edts", elst) + b"".join(inside[1:]))
    moov = _box(b"moov", data[start + 8 : first] + trak + data[last:end])
    return _with_moov(path, data, start, end, moov)


def set_capture_rate(path: Path, rate_per_s: float, key: str = "com.android.capture.fps") -> Path:
    """Write the rate of recording as phones do: a list of keys, the value a number of 32 floating bits."""
    data = path.read_bytes()
    start, end = _find(data, 0, len(data), b"moov")
    handler = _box(b"hdlr", struct.pack(">II4s12sB", 0, 0, b"mdta", bytes(12), 0))
    name = struct.pack(">I4s", 8 + len(key), b"mdta") + key.encode()
    keys = _box(b"keys", struct.pack(">II", 0, 1) + name)
    value = _box(b"data", struct.pack(">IIf", 23, 0, rate_per_s))
    ilst = _box(b"ilst", _box(struct.pack(">I", 1), value))
    meta = _box(b"meta", handler + keys + ilst)
    return _with_moov(path, data, start, end, _box(b"moov", data[start + 8 : end] + meta))


def _with_moov(path: Path, data: bytes, start: int, end: int, moov: bytes) -> Path:
    # The pictures' places in the file stay right only where the table of contents comes last.
    assert end == len(data)
    path.write_bytes(data[:start] + moov)
    return path


def _boxes(data: bytes, start: int, end: int) -> list[tuple[bytes, int, int]]:
    found = []
    while start < end:
        size, kind = struct.unpack_from(">I4s", data, start)
        found.append((kind, start, start + size))
        start += size
    return found


def _find(data: bytes, start: int, end: int, wanted: bytes) -> tuple[int, int]:
    return next((a, b) for kind, a, b in _boxes(data, start, end) if kind == wanted)


def _scale(data: bytes, start: int, _end: int) -> int:
    """Ticks a second in a movie or media header of either version."""
    at = start + 12 + (16 if data[start + 8] == 1 else 8)
    return int(struct.unpack_from(">I", data, at)[0])


def _box(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(content), kind) + content
