"""The compiled functions of a match, which are built into each other."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar

from matchvision.compiling import compile_kept

_Function = TypeVar("_Function", bound=Callable[..., Any])

#: Files whose functions are compiled into each other.
_SOURCES: Final = tuple(
    Path(__file__).parent / f"{name}.py"
    for name in ("layout", "elimination", "plans", "placing", "pulling", "contacts", "dynamics", "jacobian", "stepping")
)


def compiled(function: _Function) -> _Function:
    """Compile a function; what was kept on disk counts only while all of its sources are the same."""
    return compile_kept(function, made_of=_SOURCES)


def built_in(function: _Function) -> _Function:
    """As `compiled_lean`, for a part of one function: built into it as if it stood there. Calls would cost 6 %."""
    try:
        return compile_kept(function, made_of=_SOURCES, _nrt=False, inline="always")
    except KeyError:
        return compile_kept(function, made_of=_SOURCES, inline="always")


def compiled_lean(function: _Function) -> _Function:
    """As `compiled`, for a function that makes no arrays, nor calls one that does.

    It need not count who holds its memory; the counting took half of such functions' time.
    """
    try:
        return compile_kept(function, made_of=_SOURCES, _nrt=False)
    except KeyError:  # a compiler that knows no such option
        return compiled(function)
