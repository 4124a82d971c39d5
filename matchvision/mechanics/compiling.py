"""Compiled functions that are kept on disk for as long as none of the files that they are compiled from has changed."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import numba

_Function = TypeVar("_Function", bound=Callable[..., Any])

#: Files whose functions are compiled into each other. The compiler itself watches only the file of each function.
_SOURCES: Final = ("layout", "elimination", "plans", "placing", "pulling", "dynamics", "jacobian", "stepping")
_DIGEST: Final = hashlib.sha256(
    b"".join((Path(__file__).parent / f"{name}.py").read_bytes() for name in _SOURCES)
).hexdigest()
_OPTIONS: Final[dict[str, Any]] = {"error_model": "numpy", "nogil": True}


def compiled(function: _Function) -> _Function:
    """Compile a function; what was kept on disk counts only while all of its sources are the same."""
    try:
        kept = numba.njit(cache=True, **_OPTIONS)(function)
        index = kept._cache._cache_file  # noqa: SLF001 - the compiler has no public word for it
        index._source_stamp = (index._source_stamp, _DIGEST)  # noqa: SLF001
    except (RuntimeError, AttributeError):
        # No folder to keep it in, or a compiler that keeps it otherwise: compile for this run only.
        kept = numba.njit(**_OPTIONS)(function)
    return cast("_Function", kept)
