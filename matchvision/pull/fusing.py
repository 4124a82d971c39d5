"""One tension from several sources, or from the one to believe where they contradict each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.pull.combining import LIMIT, combine_sources, errors_by_input, usable_frames
from matchvision.records.pull import PullSource
from matchvision.uncertainty import window_sums

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: The fewest assumptions first: a calibrated spring, the cord's own stretch, a load's friction that is the same
#: everywhere, a tread's that is so too, a motor's torque line and what the operator did with it.
TRUST: Final = ("link", "stretch", "inertia", "momentum", "drive")
#: Sources are held against each other over this long.
WINDOW_S: Final = 0.5


@dataclass(frozen=True, eq=False)
class Contradiction:
    """Where a source contradicts the one that is believed.

    ``frames`` (n,) marks them; ``difference_N`` (n,) is source less believed, averaged over the window,
    ``u_difference_N`` its standard uncertainty, ``birge`` the root mean square of their ratio over the clip.
    """

    source: str
    believed: str
    frames: BoolArray
    difference_N: FloatArray
    u_difference_N: FloatArray
    birge: float


@dataclass(frozen=True, eq=False)
class Fused:
    """The fused source, every contradiction, and how well the sources agree over the clip.

    ``birge``: root mean square of the windows' differences over their standard uncertainties; about 1 or less where the
    sources agree, NaN where there is nothing to compare.
    """

    source: PullSource
    contradictions: tuple[Contradiction, ...]
    birge: float


def fuse_sources(sources: Sequence[PullSource], real_s: FloatArray) -> Fused:
    """Combine sources frame by frame; those that contradict the most trusted one are left out where they do.

    Sources that only the forecast supports join only where there is no other.

    Parameters
    ----------
    sources : sequence of PullSource, at least one
    real_s : (n,) float array
        Time of the frames [s].

    Notes
    -----
    Generalised least squares over what each source says, `matchvision.pull.combining.combine_sources`. The window's
    test keeps the lasting errors whole, without those that both share, and does not let the frames' own errors average
    out, since a smoother may have tied neighbours together.
    Checked by: tests/pull/test_fusing.py::test_two_agreeing_sources_weigh_by_inverse_variance
    """
    chosen = [s for s in sources if s.independent] or list(sources)
    chosen.sort(key=lambda s: TRUST.index(s.source))
    tension_N = np.stack([s.tension_N for s in chosen])
    usable = usable_frames(chosen)
    # Sources that all say 0 because the rope is slack repeat one finding: it counts once.
    usable[1:] &= ~((tension_N[1:] == 0) & np.logical_or.accumulate(usable & (tension_N == 0))[:-1])
    contradictions, ratios = [], []
    for k in range(1, len(chosen)):
        for j in range(k):
            found = compare_sources(chosen[k], chosen[j], real_s)
            if np.isfinite(found.birge):
                ratios.append(found.birge)
            if found.frames.any():
                contradictions.append(found)
                usable[k] &= ~(found.frames & usable[j])
    birge = float(np.sqrt(np.mean(np.square(ratios)))) if ratios else float("nan")
    return Fused(combine_sources("fused", chosen, usable), tuple(contradictions), birge)


def compare_sources(source: PullSource, believed: PullSource, real_s: FloatArray) -> Contradiction:
    """Hold two sources against each other in sliding windows of `WINDOW_S`.

    Where a window contradicts, the frames are those of it that are themselves further apart than half of the window's
    difference, and what lies between them: so the date is the change's own, not the window's.
    """
    difference_N = source.tension_N - believed.tension_N
    errors = errors_by_input((source, believed))
    apart_N = errors.effects[:, 0] - errors.effects[:, 1]
    says = (source.tension_N != 0) | (believed.tension_N != 0)
    both = np.isfinite(difference_N) & usable_frames((source, believed)).all(axis=0) & says
    count = window_sums(both.astype(np.float64), real_s, WINDOW_S)
    enough = count >= np.maximum(3.0, window_sums(np.ones(len(real_s)), real_s, WINDOW_S) / 3)

    def mean(values: FloatArray) -> FloatArray:
        sums = window_sums(np.where(both, values, 0.0), real_s, WINDOW_S)
        return np.where(enough, sums / np.maximum(count, 1.0), np.nan)

    variance = np.zeros(len(real_s))
    for effect, common in zip(apart_N, errors.common, strict=True):
        variance += mean(effect) ** 2 if common else mean(effect**2)
    mean_N, u_mean_N = mean(difference_N), np.sqrt(variance)
    apart = enough & (np.abs(np.nan_to_num(mean_N)) > LIMIT * np.nan_to_num(u_mean_N, nan=np.inf))
    marked = mark_frames(difference_N, mean_N, apart, both, real_s)
    z = mean_N[enough] / u_mean_N[enough]
    birge = float(np.sqrt(np.mean(z**2))) if z.size else float("nan")
    return Contradiction(source.source, believed.source, marked, mean_N, u_mean_N, birge)


def mark_frames(
    difference_N: FloatArray, mean_N: FloatArray, apart: BoolArray, both: BoolArray, real_s: FloatArray
) -> BoolArray:
    """Frames (n,) that contradict: each run of windows that does, from its change on and to its change back."""
    marked = np.zeros(len(real_s), dtype=np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], apart, [False]]).astype(np.int8)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        reach = (real_s >= real_s[start] - WINDOW_S / 2) & (real_s <= real_s[stop - 1] + WINDOW_S / 2) & both
        level_N = float(np.nanmedian(mean_N[start:stop])) if stop - start > 1 else float(mean_N[start])
        first_N, last_N = (mean_N[k] for k in (start, stop - 1))
        nearby = reach & (np.sign(level_N) * difference_N > min(abs(first_N), abs(last_N), abs(level_N)) / 2)
        at = np.flatnonzero(nearby)
        if at.size:
            marked[at[0] : at[-1] + 1] = True
    return marked & both
