"""One tension from several sources, or from the one to believe where they contradict each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.records.pull import BudgetLine, PullSource

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: The fewest assumptions first: a calibrated spring, the cord's own stretch, friction that is the same everywhere, a
#: motor's torque line and what the operator did with it.
TRUST: Final = ("link", "stretch", "inertia", "drive")
#: Sources are held against each other over this long.
WINDOW_S: Final = 0.5
#: They contradict each other where their difference exceeds this many of its standard uncertainties (99 %).
LIMIT: Final = 2.58


@dataclass(frozen=True, eq=False)
class Contradiction:
    """Where a source contradicts the one that is believed.

    ``frames`` (n,) marks them; ``difference_N`` (n,) is source less believed, averaged over the window, and
    ``u_difference_N`` its standard uncertainty.
    """

    source: str
    believed: str
    frames: BoolArray
    difference_N: FloatArray
    u_difference_N: FloatArray


def fuse_sources(sources: Sequence[PullSource], real_s: FloatArray) -> tuple[PullSource, tuple[Contradiction, ...]]:
    """Combine sources frame by frame; those that contradict the most trusted one are left out where they do.

    Sources that only the forecast supports join only where there is no other.

    Parameters
    ----------
    sources : sequence of PullSource, at least one
    real_s : (n,) float array
        Time of the frames [s].

    Notes
    -----
    Generalised least squares. Over the clip a source's covariance is ``diag(own²) + common·commonᵀ``; sources share no
    error worth counting (local gravity, 0.15 %, is the only common input), so in one frame the weights are the
    inverse variances, and the fused error's common part follows from the sources' common parts by these weights. The
    window's test keeps the shared error whole and does not let the frames' own errors average out, since a smoother
    may have tied neighbours together.
    Checked by: tests/pull/test_fusing.py::test_two_agreeing_sources_weigh_by_inverse_variance
    """
    chosen = [s for s in sources if s.independent] or list(sources)
    chosen.sort(key=lambda s: TRUST.index(s.source))
    tension_N = np.stack([s.tension_N for s in chosen])
    u_N = np.stack([s.u_tension_N for s in chosen])
    common_N = np.stack([s.u_common_N for s in chosen])
    usable = np.isfinite(tension_N) & np.isfinite(u_N) & (u_N > 0)
    # Sources that all say 0 because the rope is slack repeat one finding: it counts once.
    usable[1:] &= ~((tension_N[1:] == 0) & np.logical_or.accumulate(usable & (tension_N == 0))[:-1])
    contradictions = []
    for k in range(1, len(chosen)):
        for j in range(k):
            found = compare_sources(chosen[k], chosen[j], real_s)
            if found.frames.any():
                contradictions.append(found)
                usable[k] &= ~(found.frames & usable[j])
    weight = np.where(usable, 1 / np.where(usable, u_N, 1.0) ** 2, 0.0)
    total = weight.sum(axis=0)
    known = total > 0
    share = weight / np.where(known, total, 1.0)
    fused_N = np.where(known, np.sum(share * np.where(usable, tension_N, 0.0), axis=0), np.nan)
    spread = np.sum(np.where(usable, (tension_N - fused_N) ** 2 * weight, 0.0), axis=0)
    birge = np.sqrt(np.maximum(1.0, spread / np.maximum(1, usable.sum(axis=0) - 1)))
    u_fused_N = np.where(known, birge / np.sqrt(np.where(known, total, 1.0)), np.nan)
    parts_N = share * np.where(usable, common_N, 0.0)
    u_common_N = np.where(known, np.minimum(np.sqrt(np.sum(parts_N**2, axis=0)), u_fused_N), np.nan)
    budget: tuple[BudgetLine, ...] = ()
    if known.any():
        peak = int(np.nanargmax(fused_N))
        budget = tuple(
            BudgetLine(f"{s.source}: {line.name}", float(share[k, peak]) * line.u, line.unit, line.common)
            for k, s in enumerate(chosen)
            if share[k, peak] > 0
            for line in s.budget
        )
    independent = all(s.independent for s in chosen)
    return PullSource("fused", fused_N, u_fused_N, u_common_N, independent, budget), tuple(contradictions)


def compare_sources(source: PullSource, believed: PullSource, real_s: FloatArray) -> Contradiction:
    """Hold two sources against each other in sliding windows of `WINDOW_S`.

    A window that contradicts is marked whole, since its middle value speaks for all of it.
    """
    difference_N = source.tension_N - believed.tension_N
    variance = source.u_tension_N**2 + believed.u_tension_N**2
    both = np.isfinite(difference_N) & np.isfinite(variance) & ((source.tension_N != 0) | (believed.tension_N != 0))
    first = np.searchsorted(real_s, real_s - WINDOW_S / 2, side="left")
    last = np.searchsorted(real_s, real_s + WINDOW_S / 2, side="right")
    count = _window_sum(both.astype(np.float64), first, last)
    enough = count >= np.maximum(3.0, (last - first) / 3)
    safe = np.maximum(count, 1.0)
    mean_N = np.where(enough, _window_sum(np.where(both, difference_N, 0.0), first, last) / safe, np.nan)
    u_mean_N = np.where(enough, np.sqrt(_window_sum(np.where(both, variance, 0.0), first, last) / safe), np.nan)
    apart = enough & (np.abs(np.nan_to_num(mean_N)) > LIMIT * np.nan_to_num(u_mean_N, nan=np.inf))
    marked = (_window_sum(apart.astype(np.float64), first, last) > 0) & both
    return Contradiction(source.source, believed.source, marked, mean_N, u_mean_N)


def window_mean(values: FloatArray, real_s: FloatArray, window_s: float) -> FloatArray:
    """Mean over a window around each frame; NaN where less than half of the window's frames are known."""
    first = np.searchsorted(real_s, real_s - window_s / 2, side="left")
    last = np.searchsorted(real_s, real_s + window_s / 2, side="right")
    count = _window_sum(np.isfinite(values).astype(np.float64), first, last)
    sums = _window_sum(np.nan_to_num(values), first, last)
    return np.where(2 * count >= last - first, sums / np.maximum(count, 1.0), np.nan)


def _window_sum(values: FloatArray, first: npt.NDArray[np.intp], last: npt.NDArray[np.intp]) -> FloatArray:
    running = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(running[last] - running[first], dtype=np.float64)
