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


#: Functions that ask for no memory need not count who holds theirs; the counting took half of their time.
_LEAN: Final[dict[str, Any]] = {**_OPTIONS, "_nrt": False}


def compiled(function: _Function) -> _Function:
    """Compile a function; what was kept on disk counts only while all of its sources are the same."""
    return _compile(function, _OPTIONS)


def compiled_lean(function: _Function) -> _Function:
    """As `compiled`, for a function that makes no arrays, nor calls one that does."""
    try:
        return _compile(function, _LEAN)
    except KeyError:  # a compiler that knows no such option
        return _compile(function, _OPTIONS)


def _compile(function: _Function, options: dict[str, Any]) -> _Function:
    try:
        kept = numba.njit(cache=True, **options)(function)
        index = kept._cache._cache_file  # noqa: SLF001 - the compiler has no public word for it
        index._source_stamp = (index._source_stamp, _DIGEST)  # noqa: SLF001
    except (RuntimeError, AttributeError):
        # No folder to keep it in, or a compiler that keeps it otherwise: compile for this run only.
        kept = numba.njit(**options)(function)
    return cast("_Function", kept)
