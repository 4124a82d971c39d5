"""The kernels of the pass, compiled by a process of their own where none are kept on disk yet.

A compiler leaves some sixty megabytes behind in the process that it worked in, which a pass over a long clip needs.
"""

import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import numpy as np

from matchvision.geometry.spreading import spread_kernel, spread_on_planes
from matchvision.markers import fitting
from matchvision.markers.centres import Windows, find_centres
from matchvision.markers.drifting import Drift
from matchvision.markers.projecting import project_markers
from matchvision.markers.refining import Refiner
from matchvision.markers.scattering import Scatter
from matchvision.records.frames import Frame
from matchvision.records.tracks import MarkerPlan

#: Longer than any machine takes to compile them [s]; past it they are compiled in this process.
_PATIENCE_S: Final = 120.0
#: Names under which the compiler keeps them.
_KEPT: Final = (
    "fitting._fit_discs",
    "spotting._search_and_fit_windows",
    "projecting._project",
    "streaking._speed_loops",
    "stating._take_loops",
    "stating._state_loops",
    "drifting._strengthen_loop",
    "drifting._turn_loop",
    "scattering._excess_loop",
)
_KEPT_OF_PLANES: Final = ("spreading._spread_loops",)


def compile_kernels_apart() -> None:
    """Have the kernels compiled and kept on disk; nothing where they are kept, or where there is no folder for them.

    Should that fail, they are compiled when they are first called, as ever.
    Checked by: tests/markers/test_warming.py::test_kernels_are_kept_by_a_process_of_their_own
    """
    # What is kept lies beside the module that it was compiled from.
    kept: tuple[tuple[Any, tuple[str, ...]], ...] = ((fitting.fit_discs, _KEPT), (spread_kernel, _KEPT_OF_PLANES))
    folders = [(kernel.stats.cache_path, names) for kernel, names in kept]
    if any(folder is None for folder, _ in folders) or all(
        any(Path(folder).glob(f"{name}-*.nbi")) for folder, names in folders for name in names
    ):
        return
    order = f"from {__name__} import run_kernels; run_kernels()"
    try:
        subprocess.run([sys.executable, "-c", order], check=False, capture_output=True, timeout=_PATIENCE_S)
    except (OSError, subprocess.TimeoutExpired):
        return


def ready_kernels() -> None:
    """Have the kernels compiled where they are not, and load them: for while the first pictures are decoded."""
    compile_kernels_apart()
    run_kernels()


def run_kernels() -> tuple[float, float]:
    """Call every kernel once, on a picture of one disc; its place [px]."""
    side, radius_px, strength = 48, 6.0, 80.0
    away_px = np.hypot(*(np.indices((side, side)) - side / 2))
    away_small_px = np.hypot(*(2 * np.indices((side // 2, side // 2)) + 0.5 - side / 2))
    planes = (
        (190 - strength * (away_px < radius_px)).astype(np.uint8),
        np.full((side // 2, side // 2), 128, dtype=np.uint8),
        (128 + strength * (away_small_px < radius_px)).astype(np.uint8),
    )
    for plane in planes:
        # The decoder's planes are lent, not given, and another kind of array is another kernel.
        plane.flags.writeable = False
    frame = Frame(0, 0.0, *planes, (2, 2), (0.5, 0.5))
    windows = Windows(
        place_px=np.full((1, 2), side / 2),
        half_px=np.full(1, radius_px + 6.0),
        direction=np.array([[0.0, 1.0]]),
        strength=np.full(1, strength),
        sideways=np.full(1, 2.0),
        inverse=np.array([[radius_px**-2, 0.0, radius_px**-2]]),
        radius_px=np.full(1, radius_px),
        neutral=np.full(2, 128.0),
    )
    project_markers(np.ones(15), np.ones((1, 3)))
    one, along = np.ones((1, 1, 2)), np.eye(3)
    spread_on_planes(
        np.ones((1, 15)), np.ones((1, 15, 15)), one, np.ones((1, 1, 3)), (along[0], along[1], along[2]), one[..., 0]
    )
    plans = [MarkerPlan("disc", "body", "red", 0.01)]
    refiner = Refiner(plans)
    found = refiner.refine(frame, windows, find_centres(frame, windows))
    Drift(plans).follow(np.ones((1, 2)), found, np.ones(1, dtype=np.bool_), 0.0)
    scatter = Scatter(plans)
    for index in range(8):
        scatter.take(index, found.place_px, found.u_px**2)
    return float(found.place_px[0, 0]), float(found.place_px[0, 1])
