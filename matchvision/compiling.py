"""Kernels: functions compiled to machine code and kept on disk, where the disk allows it."""

import functools
import hashlib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import numba

_Function = TypeVar("_Function", bound=Callable[..., Any])

#: Other threads may run meanwhile; a division by nothing gives inf or NaN, as numpy's does.
_USUAL: Final[dict[str, Any]] = {"nogil": True, "error_model": "numpy"}


def compile_kept(
    function: _Function,
    *,
    signature: Any = None,  # noqa: ANN401 - the compiler's types
    made_of: Iterable[Path] = (),
    **options: Any,  # noqa: ANN401
) -> _Function:
    """The function compiled, or taken from the disk as it was compiled before.

    Where no folder can be written (a read-only installation, a user without a home) it is compiled for this run only.

    Parameters
    ----------
    function : callable
        What to compile.
    signature : compiler's type or None
        Types of the arguments: it is compiled at once, and for them alone. None: at its first call with any types.
    made_of : paths
        Further files whose functions are compiled into this one. The compiler watches the function's own file alone,
        and would go on with the old code after a change of theirs.
    **options
        Options of the compiler beside the usual ones.

    Notes
    -----
    Checked by: tests/test_compiling.py::test_kept_code_counts_only_while_its_sources_are_the_same
    """
    chosen = {**_USUAL, **options}
    try:
        kept = numba.njit(cache=True, **chosen)(function)
        _watch(kept, made_of)
    except RuntimeError:
        kept = numba.njit(**chosen)(function)
    if signature is not None:
        kept.compile(signature)
        kept.disable_compile()
    return cast("_Function", kept)


@functools.cache
def _read(path: Path) -> bytes:
    return path.read_bytes()


def _watch(kept: Any, made_of: Iterable[Path]) -> None:  # noqa: ANN401
    """Let what is on disk count only while these files are the same as well."""
    content = b"".join(_read(path) for path in made_of)
    if not content:
        return
    try:
        index = kept._cache._cache_file  # noqa: SLF001 - the compiler has no public word for it
        index._source_stamp = (index._source_stamp, hashlib.sha256(content).hexdigest())  # noqa: SLF001
    except AttributeError as unknown:
        msg = "a compiler that keeps its code otherwise"
        raise RuntimeError(msg) from unknown
