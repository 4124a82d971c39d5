"""Memory of pictures that nobody looks at any more goes back to the system."""

import ctypes
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

#: Parameters of glibc's ``mallopt``: free memory at the heap's end that is kept, and the size from which a block is a
#: mapping of its own, which goes back when it is freed.
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
#: Whole planes count as large; glibc itself raises both limits to the second and twice that once such are freed.
_LARGE_BYTES, _HUGE_BYTES = 256 * 1024, 32 * 1024 * 1024
_LIBRARY: Final = ctypes.CDLL(None) if platform.libc_ver()[0] == "glibc" else None


@contextmanager
def freeing_pictures() -> Iterator[None]:
    """Whatever is freed within goes back to the system at once, and what was freed before; elsewhere it is kept.

    A first look holds dozens of pictures and lets go of them. The C library would keep their memory in pieces between
    blocks still in use, where the next clip's pictures do not fit: a process that watches clip after clip would grow.
    In a long pass nothing is gained by it, and fresh memory for each picture would cost time. Other C libraries are
    left as they are.
    """
    if _LIBRARY is None:
        yield
        return
    _LIBRARY.malloc_trim(0)
    _LIBRARY.mallopt(_MMAP_THRESHOLD, _LARGE_BYTES)
    try:
        yield
    finally:
        _LIBRARY.mallopt(_MMAP_THRESHOLD, _HUGE_BYTES)
        _LIBRARY.mallopt(_TRIM_THRESHOLD, 2 * _HUGE_BYTES)
        _LIBRARY.malloc_trim(0)


def give_back_memory() -> None:
    """Return to the system what was freed, between two large pieces of work; other C libraries keep it."""
    if _LIBRARY is not None:
        _LIBRARY.malloc_trim(0)
