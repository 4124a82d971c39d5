"""One tension from several sources, or from the one to believe where they contradict each other."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.pull.combining import LIMIT, combine_sources, errors_by_input, usable_frames
from matchvision.records.pull import PullSource
from matchvision.uncertainty import window_sums

#: The fewest assumptions first: a calibrated spring, the cord's own stretch, a load's friction that is the same
#: everywhere, a tread's that is so too, a motor's torque line and what the operator did with it.
TRUST: Final = ("link", "stretch", "inertia", "momentum", "drive")
#: Sources are held against each other over this long.
WINDOW_S: Final = 0.5
#: What dates a contradiction is averaged over this long, and so long a lull does not end it.
DATE_OVER_S: Final = 0.1
#: What contradicts a source that says the rope pushes.
ROPE: Final = "the rope"
#: A tension that is known exactly, as far as any source goes [N].
_EXACT_N: Final = 1e-9


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

    Sources that only the forecast supports join only where there is no other. A rope cannot push: a source that says so
    beyond doubt is left out there, and what noise leaves below zero is zero, which is never further from the truth.

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
    for k, source in enumerate(chosen):
        pushes = find_push(source, real_s)
        frames = pushes.frames & usable[k]
        if frames.any():
            contradictions.append(replace(pushes, frames=frames))
            usable[k] &= ~frames
    for k in range(1, len(chosen)):
        for j in range(k):
            found = compare_sources(chosen[k], chosen[j], real_s)
            if np.isfinite(found.birge):
                ratios.append(found.birge)
            # Where the other one is itself contradicted by one that is trusted more, it is not believed.
            frames = found.frames & usable[j]
            if frames.any():
                contradictions.append(replace(found, frames=frames))
                usable[k] &= ~frames
    birge = float(np.sqrt(np.mean(np.square(ratios)))) if ratios else float("nan")
    combined = combine_sources("fused", chosen, usable)
    pulling = replace(combined, tension_N=np.maximum(combined.tension_N, 0.0))
    return Fused(pulling, tuple(contradictions), birge)


def find_push(source: PullSource, real_s: FloatArray) -> Contradiction:
    """Where a source says beyond doubt that the rope pushes, held against the same source with nothing below zero.

    Notes
    -----
    Checked by: tests/pull/test_fusing.py::test_source_that_says_the_rope_pushes_is_left_out
    """
    exact_N = np.full(len(source.tension_N), _EXACT_N)
    pulling = replace(
        source, source=ROPE, tension_N=np.maximum(source.tension_N, 0.0), u_tension_N=exact_N, u_common_N=exact_N,
        parts=(),
    )  # fmt: skip
    return compare_sources(source, pulling, real_s)


def compare_sources(source: PullSource, believed: PullSource, real_s: FloatArray) -> Contradiction:
    """Hold two sources against each other in sliding windows of `WINDOW_S`.

    Where windows contradict, the frames are those around the strongest one whose own difference, over `DATE_OVER_S`,
    contradicts as well: so the date is the change's, not the window's.
    """
    difference_N = source.tension_N - believed.tension_N
    errors = errors_by_input((source, believed))
    apart_N = errors.effects[:, 0] - errors.effects[:, 1]
    says = (source.tension_N != 0) | (believed.tension_N != 0)
    both = np.isfinite(difference_N) & usable_frames((source, believed)).all(axis=0) & says

    def average(window_s: float) -> tuple[FloatArray, FloatArray]:
        count = window_sums(both.astype(np.float64), real_s, window_s)
        enough = count >= np.maximum(min(3.0, window_s / WINDOW_S * 3), _frames_in(real_s, window_s) / 3)

        def mean(values: FloatArray) -> FloatArray:
            sums = window_sums(np.where(both, values, 0.0), real_s, window_s)
            return np.where(enough, sums / np.maximum(count, 1.0), np.nan)

        variance = np.zeros(len(real_s))
        for effect, common in zip(apart_N, errors.common, strict=True):
            variance += mean(effect) ** 2 if common else mean(effect**2)
        return mean(difference_N), np.sqrt(variance)

    mean_N, u_mean_N = average(WINDOW_S)
    z = np.nan_to_num(mean_N / np.where(u_mean_N > 0, u_mean_N, np.nan))
    short_N, u_short_N = average(DATE_OVER_S)
    short_z = np.nan_to_num(short_N / np.where(u_short_N > 0, u_short_N, np.nan))
    # Time runs only where both speak: a load that stands for a moment does not end what it then goes on to say.
    compared_s = np.cumsum(np.where(both, np.diff(real_s, prepend=real_s[0]), 0.0))
    marked = _mark_frames(z, short_z, compared_s) & both
    known = np.isfinite(mean_N) & (u_mean_N > 0)
    birge = float(np.sqrt(np.mean(z[known] ** 2))) if known.any() else float("nan")
    return Contradiction(source.source, believed.source, marked, mean_N, u_mean_N, birge)


def _frames_in(real_s: FloatArray, window_s: float) -> FloatArray:
    return window_sums(np.ones(len(real_s)), real_s, window_s)


def _mark_frames(z: FloatArray, short_z: FloatArray, compared_s: FloatArray) -> BoolArray:
    """Frames (n,) that contradict: from the strongest frame of each run of contradicting windows as far as it goes."""
    marked = np.zeros(len(z), dtype=np.bool_)
    apart = np.abs(z) > LIMIT
    edges = np.flatnonzero(np.diff(np.concatenate([[False], apart, [False]]).astype(np.int8)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        strongest = start + int(np.argmax(np.abs(z[start:stop])))
        also = np.flatnonzero(short_z * np.sign(z[strongest]) > LIMIT)
        first = last = strongest
        for k in also[also < strongest][::-1]:
            if compared_s[first] - compared_s[k] > DATE_OVER_S:
                break
            first = int(k)
        for k in also[also > strongest]:
            if compared_s[k] - compared_s[last] > DATE_OVER_S:
                break
            last = int(k)
        # A moment is no contradiction: at the clip's ends half a window has no more than that.
        if compared_s[last] - compared_s[first] >= DATE_OVER_S:
            marked[first : last + 1] = True
    return marked
