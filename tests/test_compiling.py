"""Compiled kernels are kept on disk, taken back while nothing has changed, and do without where nothing can be kept."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from numba import types
from numba.core.caching import CacheImpl

from matchvision.compiling import compile_kept

INNER = """
from matchvision.compiling import compile_kept
def _inner(x):
    return x + {add}
inner = compile_kept(_inner)
"""
OUTER = """
from pathlib import Path
from matchvision.compiling import compile_kept
import inner
def _outer(x):
    return 2.0 * inner.inner(x)
outer = compile_kept(_outer, made_of=[Path(inner.__file__)])
print(outer(1.0), sum(outer.stats.cache_hits.values()))
"""


def double(x: float) -> float:
    return 2.0 * x


def run(folder: Path, **where: str) -> list[str]:
    path = os.pathsep.join([str(folder), *sys.path])
    ran = subprocess.run(
        [sys.executable, "-c", "import outer"],
        cwd=folder,
        env={
            **os.environ,
            "PYTHONPATH": path,
            "PYTHONDONTWRITEBYTECODE": "1",
            **where,
        },
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return ran.stdout.split()


@pytest.mark.slow
def test_kept_code_counts_only_while_its_sources_are_the_same(tmp_path: Path) -> None:
    (tmp_path / "inner.py").write_text(INNER.format(add="1.0"))
    (tmp_path / "outer.py").write_text(OUTER)
    where = str(tmp_path / "kept")
    assert run(tmp_path, NUMBA_CACHE_DIR=where) == ["4.0", "0"]
    assert run(tmp_path, NUMBA_CACHE_DIR=where) == ["4.0", "1"]
    # Only what is built in has changed.
    (tmp_path / "inner.py").write_text(INNER.format(add="20.0"))
    assert run(tmp_path, NUMBA_CACHE_DIR=where) == ["42.0", "0"]


def test_a_computer_that_keeps_nothing_can_compute(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the package's folder nor a home can be written: what is compiled serves this run only."""
    monkeypatch.setattr(CacheImpl, "_locator_classes", [])
    assert compile_kept(double)(4.0) == 8.0
    assert compile_kept(double, made_of=[Path(__file__)])(4.0) == 8.0


def test_types_that_are_given_are_compiled_at_once_and_alone() -> None:
    alone: Any = compile_kept(double, signature=types.float64(types.float64))
    assert alone.signatures == [(types.float64,)]
    with pytest.raises(TypeError):
        alone("four")
