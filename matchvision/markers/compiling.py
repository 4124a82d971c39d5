"""Kernels for arguments of known types, kept on disk where the disk allows it."""

from collections.abc import Callable
from typing import Any

import numba


def compile_for(signature: Any, function: Callable[..., Any], **options: Any) -> Callable[..., Any]:  # noqa: ANN401
    """The function compiled for arguments of these types, or taken from the disk."""
    options = {"nogil": True, "error_model": "numpy", **options}
    compiled: Callable[..., Any]
    try:
        compiled = numba.njit(signature, cache=True, **options)(function)
    except RuntimeError:
        # No folder to keep it in: compile for this run only.
        compiled = numba.njit(signature, **options)(function)
    return compiled
