"""Does lost grip belong to a place, to the time since, to one side, or to none of them: tales weighed by evidence."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, logsumexp, ndtr, ndtri
from scipy.stats import qmc

from matchvision.grip.using import GRIPS, LOOK_S, SLIDES, STANDS_M, GripUse
from matchvision.records.gripmap import GripTale

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: Before anything is measured a grip is taken to be 0.6 ± 0.4: from ice to clean rubber on dry wood.
GRIP_BEFORE: Final = (0.6, 0.4)
#: How far friction wanders about one coefficient, as a share of it (dust, speed, warmth): each as probable.
WANDERS: Final = (0.01, 0.02, 0.04, 0.08, 0.16)
#: Grip while sliding over the most before it, and how probable beforehand: most dry pairs lose little or nothing.
SLIDING_RATIOS: Final = (1.0, 0.85, 0.7)
RATIO_CHANCES: Final = (0.5, 0.35, 0.15)
#: Both sides of a drive push alike within so much, as long as nothing slides.
BALANCE: Final = 0.15
#: What is asked of a drive may be so different after this long.
ASKED_FOR_S: Final = 0.5
#: Edges that a tale's stretch of table and of time may have.
PLACE_EDGES: Final = 16
TIME_EDGES: Final = 20
#: Cells of edges are halved so often where they matter, and ranked meanwhile with this wander.
SPLITS: Final = 3
ROUGHLY: Final = 0.04
#: Tales further behind the best of their kind than this (in log probability) count for nothing.
HOPELESS: Final = 14.0
MOST_KEPT: Final = 80
SAMPLES: Final = 64
#: Beyond so many standard deviations a bound is sure.
SURELY: Final = 4.0
#: Log probability of what cannot be.
NEVER: Final = -1e6
#: Fewer looks at sliding than this tell nothing.
LEAST_SLIDES: Final = 3


@dataclass(frozen=True, eq=False)
class Regions:
    """Candidates of one kind and side: where and when grip is less.

    Attributes
    ----------
    edges : (r, 4) float array
        From and to x [m], from and until match time [s]; infinite where there is no such edge.
    half : (r, 4) float array
        How far either side of its place an edge may lie, for cells that are yet to be split.
    log_mass : (r,) float array
        Log of the probability beforehand, among those of the same kind and side.
    """

    kind: str
    sides: tuple[str, ...]
    edges: FloatArray
    half: FloatArray
    log_mass: FloatArray

    def pick(self, at: npt.NDArray[np.int64]) -> "Regions":
        """Some of them."""
        return Regions(self.kind, self.sides, self.edges[at], self.half[at], self.log_mass[at])

    def split(self) -> "Regions":
        """Each cut in two along every edge that it has."""
        parts = self
        for k in range(4):
            if not (parts.half[:, k] > 0).any():
                continue
            step = np.zeros(4)
            step[k] = 0.5
            low, high = parts.edges - step * parts.half, parts.edges + step * parts.half
            parts = Regions(
                self.kind, self.sides, np.concatenate([low, high]), np.tile(parts.half * (1 - step), (2, 1)),
                np.tile(parts.log_mass - np.log(2), 2),
            )  # fmt: skip
        ordered = (parts.edges[:, 0] < parts.edges[:, 1]) & (parts.edges[:, 2] < parts.edges[:, 3])
        return parts.pick(np.flatnonzero(ordered | (self.kind == "even")))


@dataclass(frozen=True, eq=False)
class _Weighed:
    """Log evidence of a kind and side, and its parameters' posterior as samples with weights."""

    kind: str
    side: str
    log_evidence: float
    weight: FloatArray
    values: FloatArray


def weigh_tales(use: GripUse) -> list[GripTale]:
    """Every tale with its probability, the most probable first; empty where too little slid to tell.

    Parameters
    ----------
    use : what the machine used of its grip.

    Notes
    -----
    A look in which all watched sides slide measures the grip that there is: Gaussian, with the wander of friction. One
    in which a side grips says that there was as much or more, one in which a side slides alone that it had no more
    than half of what the machine used. Grip is one number outside a tale's stretch and a smaller one inside it; front
    and rear wheels are where they are, with the load that they carry. The evidence of a stretch is the integral over
    both numbers: in closed form over the sliding looks (C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for
    Machine Learning (2006), eq. (2.43) for a linear model), times the mean of the others' probability over 64
    quasi-random draws of that posterior; then the mean over all stretches of its kind. The four kinds are as probable
    beforehand, and the sides within a kind. Looks that err together count less: by (1 − ρ)/(1 + ρ) for the correlation
    ρ of neighbouring residuals of the best tale.
    Checked by: tests/grip/test_tales.py::test_place_time_and_matter_are_told_apart
    """
    if (use.all_slide | use.one_slides).sum() < LEAST_SLIDES:
        return []
    families = list(_families(use))
    best = _weigh(use, families, 1.0)
    power = _independent_ratio(use, max(best, key=lambda w: w.log_evidence))
    weighed = _weigh(use, families, power) if power < 1.0 else best
    per_kind: dict[str, int] = {}
    for one in weighed:
        per_kind[one.kind] = per_kind.get(one.kind, 0) + 1
    logs = np.array([one.log_evidence - np.log(per_kind[one.kind]) for one in weighed])
    chances = np.exp(logs - logsumexp(logs))
    tales = [_tale(one, float(chance)) for one, chance in zip(weighed, chances, strict=True)]
    return sorted(tales, key=lambda tale: -tale.probability)


def _families(use: GripUse) -> Iterator[Regions]:
    """All candidates, by kind and side."""
    x_edges = np.linspace(use.x_m.min(), use.x_m.max(), PLACE_EDGES)
    t_edges = np.linspace(use.t_s[0], use.t_s[-1], TIME_EDGES)
    half_x, half_t = ((edges[1] - edges[0]) / 2 for edges in (x_edges, t_edges))
    whole_x, whole_t = x_edges[-1] - x_edges[0], t_edges[-1] - t_edges[0]
    # An end beyond the last look or where no wheel came is no end.
    places, times = (
        [
            (begin if begin > edges[0] else -np.inf, end if end < edges[-1] else np.inf)
            for begin, end in combinations(edges, 2)
            if end - begin < whole
        ]
        for edges, whole in ((x_edges, whole_x), (t_edges, whole_t))
    )
    no_edge = (-np.inf, np.inf)
    listed = {
        "place": [(*place, *no_edge) for place in places],
        "time": [(*no_edge, *time) for time in times],
        "matter": [(*place, since, np.inf) for place in places for since in t_edges[1:-1]],
    }
    yield Regions("even", use.sides, np.array([[*no_edge, *no_edge]]), np.zeros((1, 4)), np.zeros(1))
    choices = [use.sides, *((side,) for side in use.sides)] if len(use.sides) > 1 else [use.sides]
    for kind, rows in listed.items():
        edges = np.array(rows)
        half = np.where(np.isfinite(edges), [half_x, half_x, half_t, half_t], 0.0)
        for sides in choices:
            yield Regions(kind, sides, edges, half, np.full(len(edges), -np.log(len(edges))))


def _covers(use: GripUse, regions: Regions) -> tuple[FloatArray, FloatArray]:
    """What each side brings per unit of grip outside and inside the regions, (s, k, r) each."""
    x, t = use.x_m[..., None], use.t_s[:, None]
    from_x, to_x, from_s, until_s = regions.edges.T
    # A wheel stands on a few millimetres, and moves during a look: it comes over an edge little by little.
    blur = use.blur_m[:, None]
    inside = ndtr((x - from_x) / blur) - ndtr((x - to_x) / blur)
    inside = inside * ((t >= from_s) & (t < until_s))
    counted = np.array([side in regions.sides for side in use.sides])
    inside = inside * (counted[:, None, None, None] & (regions.kind != "even"))
    weight = (use.share[None] * use.along)[..., None]
    within = (weight * inside).sum(axis=1)
    return weight.sum(axis=1) - within, within


def _weigh(use: GripUse, families: Sequence[Regions], power: float) -> list[_Weighed]:
    level = float(np.median(np.abs(use.used[use.all_slide | use.one_slides])))
    # Sobol's points begin in the corner: half a step off it.
    draws = ndtri(qmc.Sobol(2, scramble=False).random(SAMPLES) + 0.5 / SAMPLES)
    return [_weigh_family(use, regions, max(level, 0.05), power, draws) for regions in families]


def _weigh_family(use: GripUse, regions: Regions, level: float, power: float, draws: FloatArray) -> _Weighed:
    picked = regions
    for splits in range(SPLITS + 1):
        outside, inside = _covers(use, picked)
        coarse = _evidence(use, outside, inside, picked, ROUGHLY * level, power, (SLIDING_RATIOS[1],), draws[:8])[0]
        rank = coarse.max(axis=(0, 2)) + picked.log_mass
        kept = np.argsort(-rank)[:MOST_KEPT]
        kept = kept[rank[kept] >= rank.max() - HOPELESS]
        picked = picked.pick(kept)
        if splits < SPLITS and regions.kind != "even":
            picked = picked.split()
        else:
            break
    outside, inside = outside[..., kept], inside[..., kept]
    logs, values = [], []
    for wander in WANDERS:
        log, grips = _evidence(use, outside, inside, picked, wander * level, power, SLIDING_RATIOS, draws)
        logs.append(log + picked.log_mass[:, None] + np.log(RATIO_CHANCES)[:, None, None])
        values.append(grips)
    log = np.array(logs)  # (w, ratio, r, sample)
    log_evidence = float(logsumexp(log) - np.log(len(WANDERS) * SAMPLES))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    by_grip = weight.sum(axis=1)  # (w, r, sample)
    grips = np.array(values)  # (w, r, sample, 2)
    spread = np.broadcast_to(picked.edges[None, :, None, :], (*grips.shape[:3], 4))
    return _Weighed(
        regions.kind,
        "both" if len(regions.sides) > 1 or len(use.sides) == 1 else regions.sides[0],
        log_evidence,
        by_grip.ravel(),
        np.concatenate([grips, spread], axis=-1).reshape(-1, 6),
    )


def _evidence(
    use: GripUse,
    outside: FloatArray,
    inside: FloatArray,
    regions: Regions,
    sigma: float,
    power: float,
    ratios: Sequence[float],
    draws: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Log evidence by ratio, region and draw (q, r, m), to be averaged over draws; and the draws' grips (r, m, 2)."""
    slide, (alone, side, told, u_told) = use.all_slide, _alone(use)
    a = np.concatenate([outside[:, slide].mean(axis=0), outside[side, alone]])
    b = np.concatenate([inside[:, slide].mean(axis=0), inside[side, alone]])
    y = np.concatenate([use.used[slide], told])[:, None]
    noise = np.concatenate([np.full(int(slide.sum()), sigma), np.hypot(2 * sigma, u_told)])[:, None]
    wide = noise**2 / power
    middle, before = GRIP_BEFORE
    p0 = 1 / before**2
    aa, bb, ab = (p0 + (a**2 / wide).sum(axis=0), p0 + (b**2 / wide).sum(axis=0), (a * b / wide).sum(axis=0))
    ta, tb = (p0 * middle + (v * y / wide).sum(axis=0) for v in (a, b))
    det = aa * bb - ab**2
    mean = np.stack([(bb * ta - ab * tb) / det, (aa * tb - ab * ta) / det], axis=-1)
    fit = ta * mean[:, 0] + tb * mean[:, 1]
    log_z = -0.5 * power * float(np.log(2 * np.pi * noise**2).sum()) - 0.5 * float((y**2 / wide).sum())
    log_z = log_z + 0.5 * (fit - 2 * p0 * middle**2) + 0.5 * np.log(p0**2 / det)
    sd_a = np.sqrt(bb / det)
    slope = -ab / bb
    sd_b = 1 / np.sqrt(bb)
    first = mean[:, None, 0] + sd_a[:, None] * draws[:, 0]
    second = mean[:, None, 1] + slope[:, None] * (first - mean[:, None, 0]) + sd_b[:, None] * draws[:, 1]
    grips = np.stack([first, second], axis=-1)
    allowed = first > 0
    if regions.kind != "even":
        # Less inside than outside; half of all pairs are, beforehand.
        allowed = allowed & (second > 0) & (second < first)
        log_z = log_z + np.log(2)
    bounds = np.stack([_bounds(use, outside, inside, grips, sigma, ratio) for ratio in ratios])
    return np.where(allowed, log_z[:, None] + power * bounds, NEVER), grips


def _alone(use: GripUse) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], FloatArray, FloatArray]:
    """Looks in which a side slides alone, that side, what its own grip then is, and how surely.

    The other side is still asked for what both were when they last gripped, or next do, the less surely the longer ago.
    """
    found: list[tuple[int, int, float, float]] = []
    grips = np.flatnonzero(use.all_grip)
    level = max(float(np.median(np.abs(use.used))), 0.05)
    for k in np.flatnonzero(use.one_slides) if len(grips) else ():
        near = int(grips[np.argmin(np.abs(use.t_s[grips] - use.t_s[k]))])
        u = BALANCE * level * float(np.sqrt(1 + abs(use.t_s[near] - use.t_s[k]) / ASKED_FOR_S))
        found.append((int(k), int(np.argmax(use.state[:, k] == SLIDES)), 2 * use.used[k] - use.used[near], u))
    at, side, told, u_told = np.array(found).T if found else np.zeros((4, 0))
    return at.astype(np.int64), side.astype(np.int64), told, u_told


def _bounds(
    use: GripUse, outside: FloatArray, inside: FloatArray, grips: FloatArray, sigma: float, ratio: float
) -> FloatArray:
    """Log probability (r, m) that sides which grip can, and that sides which slide alone cannot do more."""
    log = np.zeros(grips.shape[:2])
    for at in (use.all_grip, use.one_slides):
        # Looks far below what any tale's grip may be say nothing: only the greatest few hundredths count.
        for k in np.flatnonzero(at):
            has = [
                outside[s, k][:, None] * grips[..., 0] + inside[s, k][:, None] * grips[..., 1]
                for s in range(len(use.sides))
            ]
            y = float(use.used[k])
            sliding = [s for s in range(len(use.sides)) if use.state[s, k] == SLIDES]
            gripping = [s for s in range(len(use.sides)) if use.state[s, k] == GRIPS]
            if not sliding:
                for s in gripping:
                    log += _log_chance((has[s] / ratio - y) / sigma)
                continue
            slid = has[sliding[0]]
            log += _log_chance((y * (1 + BALANCE) - slid) / sigma)
            log += _log_chance((has[gripping[0]] / ratio - (2 * y - slid)) / sigma)
    return log


def _log_chance(z: FloatArray) -> FloatArray:
    """Log of the normal probability below z; nothing is reckoned where it is sure."""
    log = np.zeros(z.shape)
    near = z < SURELY
    if near.any():
        log[near] = log_ndtr(z[near])
    return log


def _independent_ratio(use: GripUse, best: _Weighed) -> float:
    """How much one look counts beside its neighbours: from the correlation of what the best tale leaves."""
    k = int(np.argmax(best.weight))
    outer, inner, from_x, to_x, from_s, until_s = best.values[k]
    sides = use.sides if best.side == "both" else (best.side,)
    one = Regions(best.kind, sides, np.array([[from_x, to_x, from_s, until_s]]), np.zeros((1, 4)), np.zeros(1))
    outside, inside = _covers(use, one)
    slide = np.flatnonzero(use.all_slide)
    left = use.used[slide] - (outside[:, slide, 0].mean(axis=0) * outer + inside[:, slide, 0].mean(axis=0) * inner)
    pairs = np.diff(slide) == 1
    if pairs.sum() < 4:
        return 1.0
    now, then = left[:-1][pairs], left[1:][pairs]
    rho = float(np.clip((now * then).mean() / max(float((left**2).mean()), 1e-18), 0.0, 0.9))
    return (1 - rho) / (1 + rho)


def _tale(weighed: _Weighed, chance: float) -> GripTale:
    """A kind and side with mean and spread of its numbers; edges are known no better than looks and wheels tell."""

    def told(column: int, least: float = 0.0) -> tuple[float, float]:
        finite = np.isfinite(weighed.values[:, column])
        if weighed.weight[finite].sum() < 0.5:
            return float("nan"), float("nan")
        values, weight = weighed.values[finite, column], weighed.weight[finite]
        mean = float(np.average(values, weights=weight))
        return mean, float(np.hypot(np.sqrt(np.average((values - mean) ** 2, weights=weight)), least))

    grip, less = told(0), told(1)
    if weighed.kind == "even":
        less = (float("nan"), float("nan"))
    u_place, u_time = STANDS_M / np.sqrt(3), LOOK_S / np.sqrt(12)
    edges = (*told(2, u_place), *told(3, u_place), *told(4, u_time))
    return GripTale(weighed.kind, weighed.side, chance, *grip, *less, *edges, told(5)[0])
