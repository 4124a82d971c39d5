"""Does lost grip belong to a place, to the time since, to one side, or to none of them: tales weighed by evidence."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from scipy.special import logsumexp, ndtri

from matchvision.arrays import FloatArray
from matchvision.grip.evidence import EVERYWHERE, Regions, cover_of, region_evidence
from matchvision.grip.using import LOOK_S, SLIDES, STANDS_M, GripUse
from matchvision.records.gripmap import GripTale

#: How far friction wanders about one coefficient, as a share of it (dust, speed, warmth): each as probable.
WANDERS: Final = (0.01, 0.02, 0.04, 0.08)
#: What wanders further is explained by no tale.
WILD_WANDERS: Final = (0.16, 0.32)
#: … which is so probable beforehand, against each of the kinds.
OTHER_CHANCE: Final = 0.2
#: Grip while sliding over the most before it, and how probable beforehand: most dry pairs lose little or nothing.
SLIDING_RATIOS: Final = (1.0, 0.85, 0.7)
RATIO_CHANCES: Final = (0.5, 0.35, 0.15)
#: Edges that a tale's stretch of table and of time may have.
PLACE_EDGES: Final = 16
TIME_EDGES: Final = 20
#: Cells of edges are halved so often where they matter, and ranked meanwhile with this wander.
SPLITS: Final = 3
ROUGHLY: Final = 0.04
#: Tales further behind the best of their kind than this (in log probability) count for nothing.
HOPELESS: Final = 14.0
MOST_KEPT: Final = 60
SAMPLES: Final = 64
#: Wheels that came no further than so many times what they stand on tell nothing about places.
LEAST_WAY: Final = 4.0
#: Fewer looks at sliding than this tell nothing.
LEAST_SLIDES: Final = 3


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
    beforehand, and the sides within a kind; that none of them fits (friction that wanders by more than 8 %) a fifth of
    that. Looks that err together count less: by (1 − ρ)/(1 + ρ) for the correlation ρ of neighbouring residuals of the
    best tale.
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
    logs = np.array([
        one.log_evidence + np.log((OTHER_CHANCE if one.kind == "other" else 1.0) / per_kind[one.kind])
        for one in weighed
    ])  # fmt: skip
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
    for kind in EVERYWHERE:
        yield Regions(kind, use.sides, np.array([[*no_edge, *no_edge]]), np.zeros((1, 4)), np.zeros(1))
    choices = [use.sides, *((side,) for side in use.sides)] if len(use.sides) > 1 else [use.sides]
    for kind, rows in listed.items():
        if kind != "time" and whole_x < LEAST_WAY * STANDS_M:
            # One place only: it cannot be told from others.
            continue
        edges = np.array(rows)
        half = np.where(np.isfinite(edges), [half_x, half_x, half_t, half_t], 0.0)
        for sides in choices:
            yield Regions(kind, sides, edges, half, np.full(len(edges), -np.log(len(edges))))


def _weigh(use: GripUse, families: Sequence[Regions], power: float) -> list[_Weighed]:
    from scipy.stats import qmc  # slow to load

    level = float(np.median(np.abs(use.used[use.all_slide | use.one_slides])))
    # Sobol's points begin in the corner: half a step off it.
    draws = ndtri(qmc.Sobol(2, scramble=False).random(SAMPLES) + 0.5 / SAMPLES)
    return [_weigh_family(use, regions, max(level, 0.05), power, draws) for regions in families]


def _weigh_family(use: GripUse, regions: Regions, level: float, power: float, draws: FloatArray) -> _Weighed:
    picked = regions
    for splits in range(SPLITS + 1):
        cover = cover_of(use, picked)
        usual = (SLIDING_RATIOS[1],)
        coarse = region_evidence(use, cover, picked, ROUGHLY * level, power, usual, draws[:8])[0]
        rank = coarse.max(axis=(0, 2)) + picked.log_mass
        kept = np.argsort(-rank)[:MOST_KEPT]
        kept = kept[rank[kept] >= rank.max() - HOPELESS]
        picked = picked.pick(kept)
        if splits < SPLITS and regions.kind not in EVERYWHERE:
            picked = picked.split()
        else:
            break
    cover = cover.pick(kept)
    wanders = WILD_WANDERS if regions.kind == "other" else WANDERS
    logs, values = [], []
    for wander in wanders:
        log, grips = region_evidence(use, cover, picked, wander * level, power, SLIDING_RATIOS, draws)
        logs.append(log + picked.log_mass[:, None] + np.log(RATIO_CHANCES)[:, None, None])
        values.append(grips)
    log = np.array(logs)  # (w, ratio, r, sample)
    log_evidence = float(logsumexp(log) - np.log(len(wanders) * SAMPLES))
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


def _independent_ratio(use: GripUse, best: _Weighed) -> float:
    """How much one look counts beside its neighbours: from the correlation of what the best tale leaves."""
    k = int(np.argmax(best.weight))
    outer, inner, from_x, to_x, from_s, until_s = best.values[k]
    sides = use.sides if best.side == "both" else (best.side,)
    one = Regions(best.kind, sides, np.array([[from_x, to_x, from_s, until_s]]), np.zeros((1, 4)), np.zeros(1))
    cover = cover_of(use, one)
    outside, inside = cover.outside, cover.inside
    if use.apart:
        slide = np.flatnonzero((use.state[0] == SLIDES) & np.isfinite(use.own[0]))
        left = use.own[0, slide] - (outside[0, slide, 0] * outer + inside[0, slide, 0] * inner)
    else:
        slide = np.flatnonzero(use.all_slide)
        has = outside[:, slide, 0].mean(axis=0) * outer + inside[:, slide, 0].mean(axis=0) * inner
        left = use.used[slide] - has
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
    if weighed.kind in EVERYWHERE:
        less = (float("nan"), float("nan"))
    u_place, u_time = STANDS_M / np.sqrt(3), LOOK_S / np.sqrt(12)
    edges = (*told(2, u_place), *told(3, u_place), *told(4, u_time))
    return GripTale(weighed.kind, weighed.side, chance, *grip, *less, *edges, told(5)[0])
