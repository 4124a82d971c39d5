"""Kernels are compiled by a process of their own, and kept."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from matchvision.markers.warming import run_kernels

ORDER = """
import re
from pathlib import Path
from matchvision.markers import fitting
from matchvision.markers.warming import compile_kernels_apart, run_kernels
compile_kernels_apart()
run_kernels()
print(sum(fitting.fit_discs.stats.cache_hits.values()), sum(fitting.fit_discs.stats.cache_misses.values()))
"""


def test_the_picture_that_warms_them_is_one_that_the_kernels_fit() -> None:
    assert run_kernels() == pytest.approx((24.0, 24.0), abs=0.3)


@pytest.mark.slow
def test_kernels_are_kept_by_a_process_of_their_own(tmp_path: Path) -> None:
    asked = subprocess.run(
        [sys.executable, "-c", ORDER],
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
        timeout=200,
    )
    # Found compiled, and none compiled here.
    assert asked.stdout.split() == ["1", "0"]
