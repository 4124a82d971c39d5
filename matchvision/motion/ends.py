"""The rope's ends: one that has come off its hitch, and one whose cord is longer than the sheet says."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import BoolArray, FloatArray
from matchvision.compiling import compile_kept

#: An end bead further from its hitch than the cord allows by more than this has come off, or its cord is longer [m].
OFF_HITCH_M: Final = 0.020
#: … for this long.
OFF_FOR_S: Final = 0.1
#: A bead this near the line from hitch to hitch is on it, and one that had fallen would lie this far off [m].
ON_LINE_M: Final = 0.010
FALLEN_M: Final = 0.030
#: A loose end falls from a usual hitch in 0.1 s: one that is on the line for longer than twice that hangs.
HANGS_FOR_S: Final = 0.25
#: A bead that goes with its hitch for this far is pulled by it, or pulls it …
TOWED_M: Final = 0.020
#: … within this time, with its distance the same to this share of the way.
TOWED_WITHIN_S: Final = 1.0
SAME_RATIO: Final = 0.2
#: Of where an end is held, distances this much below the greatest are those of a taut cord [m].
TAUT_WITHIN_M: Final = 0.004


@dataclass(frozen=True, eq=False)
class EndLook:
    """The nearest seen bead of an end against its hitch, (n,) arrays [m]; −inf gaps where none is seen.

    ``gap_m``: how much further it is from the hitch than the cord is long, at the least, with the bead anywhere on its
    line of sight between table and taut line. ``bead_m``,
    ``hitch_m`` (n, 2): their places on the table. ``across_m``: how far off the line from hitch to hitch it is;
    ``fallen_m``: how far off it would be on the table.
    """

    gap_m: FloatArray
    bead_m: FloatArray
    hitch_m: FloatArray
    across_m: FloatArray
    fallen_m: FloatArray


def look_at_end(
    end: int,
    foot: FloatArray,
    lever: FloatArray,
    taut_z: FloatArray,
    ends: FloatArray,
    arc_m: FloatArray,
    length_m: FloatArray,
    floor_m: FloatArray,
) -> EndLook:
    """An end's nearest bead in each frame; arrays as in `ropestate.find_state`, arc lengths (n, m) and lengths (n,)."""
    n, m = foot.shape[:2]
    rows = np.arange(n)
    seen = np.isfinite(foot[..., 0])
    column = np.argmax(seen, axis=1) if end == 0 else m - 1 - np.argmax(seen[:, ::-1], axis=1)
    some = seen.any(axis=1)
    cord = arc_m[rows, column] if end == 0 else length_m - arc_m[rows, column]
    hitch, hitch_z = ends[:, end, :2], ends[:, end, 2]
    slope, taut = lever[rows, column], taut_z[rows, column]
    away = foot[rows, column] - hitch
    nearest = (hitch_z - np.sum(away * slope, axis=-1)) / (1 + np.sum(slope**2, axis=-1))
    lowest = floor_m[rows, column]

    z = np.clip(nearest, lowest, np.maximum(taut, lowest))
    apart = np.hypot(np.linalg.norm(away + slope * z[:, None], axis=-1), z - hitch_z)
    along = ends[:, 1, :2] - ends[:, 0, :2]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=-1) / np.linalg.norm(along, axis=-1, keepdims=True)
    bead = foot[rows, column] + slope * taut[:, None]
    return EndLook(
        np.where(some, apart - cord, -np.inf),
        bead,
        hitch,
        np.abs(np.sum((bead - ends[:, 0, :2]) * normal, axis=-1)),
        np.abs(np.sum(slope * normal, axis=-1)) * (taut - lowest),
    )


def longer_cord(look: EndLook, straight: BoolArray, real_s: FloatArray) -> float:
    """How much longer an end's cord is than stated [m]; 0 where it is not, or where that is not seen.

    Parameters
    ----------
    straight : (n,) bool array
        Frames in which the rope's beads lie on a straight line at the taut rope's height.

    Notes
    -----
    An end that came off and one on a longer cord both lie further from their hitch than the stated cord allows. A loose
    end falls and lies where it is. One that still hangs on the line from hitch to hitch, where a fallen one would be
    seen off it, or that goes along with its hitch, is held; and the greatest distance over which it is held is the
    cord's length.
    Checked by: tests/motion/test_ends.py::test_longer_cord_is_told_from_one_that_came_off
    """
    beyond = look.gap_m > OFF_HITCH_M
    hangs = _for_long(beyond & straight & (look.across_m < ON_LINE_M) & (look.fallen_m > FALLEN_M), real_s)
    held = hangs | (beyond & _towed(look, beyond, real_s))
    if not held.any():
        return 0.0
    # A rope that sags a little still looks straight: the least distance that a bead's sight allows is right in both.
    gaps = look.gap_m[held]
    return float(np.median(gaps[gaps > np.quantile(gaps, 0.95) - TAUT_WITHIN_M]))


def _for_long(holds: BoolArray, real_s: FloatArray) -> BoolArray:
    """Frames of runs in which something holds for `HANGS_FOR_S`."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    kept = np.zeros(len(holds), dtype=np.bool_)
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        kept[first:after] = real_s[after - 1] - real_s[first] >= HANGS_FOR_S
    return kept


def _towed(look: EndLook, beyond: BoolArray, real_s: FloatArray) -> BoolArray:
    """Frames in which the bead goes along with the hitch, at an unchanged distance."""
    towed = np.zeros(len(beyond), dtype=np.bool_)
    until = np.searchsorted(real_s, real_s + TOWED_WITHIN_S)
    hitch_m, bead_m = np.ascontiguousarray(look.hitch_m), np.ascontiguousarray(look.bead_m)
    _tow(beyond, until, hitch_m, bead_m, TOWED_M, SAME_RATIO * TOWED_M, towed)
    return towed


def _tow_loops(
    beyond: BoolArray,
    until: npt.NDArray[np.int64],
    hitch_m: FloatArray,
    bead_m: FloatArray,
    least_m: float,
    apart_m: float,
    towed: BoolArray,
) -> None:
    """Mark frames from which, before ``until`` and while beyond, a hitch goes ``least_m`` and its bead along."""
    for k in range(len(beyond)):
        out_x, out_y = hitch_m[k, 0] - bead_m[k, 0], hitch_m[k, 1] - bead_m[k, 1]
        size = max(np.sqrt(out_x * out_x + out_y * out_y), 1e-9)
        for j in range(k, until[k]):
            if not beyond[j]:
                break
            hitch = ((hitch_m[j, 0] - hitch_m[k, 0]) * out_x + (hitch_m[j, 1] - hitch_m[k, 1]) * out_y) / size
            bead = ((bead_m[j, 0] - bead_m[k, 0]) * out_x + (bead_m[j, 1] - bead_m[k, 1]) * out_y) / size
            if not abs(bead - hitch) < apart_m:
                break
            if abs(hitch) > least_m:
                towed[k : j + 1] = True
                break


_tow: Callable[..., Any] = compile_kept(_tow_loops)


def find_off(gap_m: FloatArray, real_s: FloatArray) -> BoolArray:
    """Frames (n,) in which an end has come off; what was found late is dated back to when its gap began to grow."""
    n = len(real_s)
    shortest = max(2, round(OFF_FOR_S / float(np.median(np.diff(real_s))))) if n > 2 else 2
    off = latch(gap_m > OFF_HITCH_M, gap_m < 0.25 * OFF_HITCH_M, shortest)
    for start in np.flatnonzero(off[1:] & ~off[:-1]) + 1:
        k = int(start)
        while k > 0 and 0.15 * OFF_HITCH_M < gap_m[k - 1] < gap_m[k]:
            k -= 1
        off[k:start] = True
    return off


def latch(enter: BoolArray, leave: BoolArray, shortest: int) -> BoolArray:
    """State with hysteresis: on after ``shortest`` frames of ``enter`` in a row, off after as many of ``leave``."""
    state = np.zeros(len(enter), dtype=np.bool_)
    on, run = False, 0
    for k in range(len(enter)):
        run = run + 1 if (leave[k] if on else enter[k]) else 0
        if run >= shortest:
            on, run = not on, 0
            # The change began with the first frame of the run.
            state[k - shortest + 1 : k] = on
        state[k] = on
    return state
