"""How well a stretch of table and of time explains what a machine used of its grip: the evidence of a region."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr

from matchvision.arrays import BoolArray, FloatArray, IntArray
from matchvision.grip.using import GRIPS, SLIDES, GripUse

#: Before anything is measured a grip is taken to be 0.6 ± 0.4: from ice to clean rubber on dry wood.
GRIP_BEFORE: Final = (0.6, 0.4)
#: Both sides of a drive push alike within so much, as long as nothing slides.
BALANCE: Final = 0.15
#: What is asked of a drive may be so different after this long.
ASKED_FOR_S: Final = 0.5
#: How much two neighbouring grips usually differ: what standing on an edge makes unsure.
EDGE_GRIP: Final = 0.3
#: Kinds of tales that know no edges.
EVERYWHERE: Final = ("even", "other")
#: Beyond so many standard deviations a bound is sure.
SURELY: Final = 4.0
#: Log probability of what cannot be.
NEVER: Final = -1e6


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
        return parts.pick(np.flatnonzero(ordered | (self.kind in EVERYWHERE)))


@dataclass(frozen=True, eq=False)
class Cover:
    """What each side brings per unit of grip outside and inside the regions, (s, k, r) each, and how unsure that is.

    ``ragged``: variance of what is inside, where wheels stand on an edge.
    """

    outside: FloatArray
    inside: FloatArray
    ragged: FloatArray

    def pick(self, at: IntArray) -> "Cover":
        """Of some regions."""
        return Cover(self.outside[..., at], self.inside[..., at], self.ragged[..., at])


def cover_of(use: GripUse, regions: Regions) -> Cover:
    """Where the wheels stand in each look, against each region."""
    x, t = use.x_m[..., None], use.t_s[:, None]
    from_x, to_x, from_s, until_s = regions.edges.T
    # A wheel stands on a few millimetres, and moves during a look: it comes over an edge little by little.
    blur = use.blur_m[:, None]
    inside = ndtr((x - from_x) / blur) - ndtr((x - to_x) / blur)
    inside = inside * ((t >= from_s) & (t < until_s))
    counted = np.array([side in regions.sides for side in use.sides])
    inside = inside * (counted[:, None, None, None] & (regions.kind not in EVERYWHERE))
    weight = (use.share[None] * use.along)[..., None]
    within = (weight * inside).sum(axis=1)
    # On an edge it may be any part: as a yes or no of that chance scatters.
    ragged = (weight**2 * inside * (1 - inside)).sum(axis=1)
    return Cover(weight.sum(axis=1) - within, within, ragged)


def region_evidence(
    use: GripUse,
    cover: Cover,
    regions: Regions,
    sigma: float,
    power: float,
    ratios: Sequence[float],
    draws: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Log evidence by ratio, region and draw (q, r, m), to be averaged over draws; and the draws' grips (r, m, 2)."""
    outside, inside = cover.outside, cover.inside
    if use.apart:
        s, k = np.nonzero((use.state == SLIDES) & np.isfinite(use.own))
        a, b, y = outside[s, k], inside[s, k], use.own[s, k][:, None]
        noise = np.hypot(sigma, use.u_own[s, k])[:, None]
        ragged = cover.ragged[s, k]
    else:
        slide, (alone, side, told, u_told) = use.all_slide, _alone(use)
        a = np.concatenate([outside[:, slide].mean(axis=0), outside[side, alone]])
        b = np.concatenate([inside[:, slide].mean(axis=0), inside[side, alone]])
        y = np.concatenate([use.used[slide], told])[:, None]
        noise = np.concatenate([np.full(int(slide.sum()), sigma), np.hypot(2 * sigma, u_told)])[:, None]
        shared = cover.ragged[:, slide].mean(axis=0) / len(use.sides)
        ragged = np.concatenate([shared, cover.ragged[side, alone]])
    noise = np.sqrt(noise**2 + EDGE_GRIP**2 * ragged)
    wide = noise**2 / power
    middle, before = GRIP_BEFORE
    p0 = 1 / before**2
    aa, bb, ab = (p0 + (a**2 / wide).sum(axis=0), p0 + (b**2 / wide).sum(axis=0), (a * b / wide).sum(axis=0))
    ta, tb = (p0 * middle + (v * y / wide).sum(axis=0) for v in (a, b))
    det = aa * bb - ab**2
    mean = np.stack([(bb * ta - ab * tb) / det, (aa * tb - ab * ta) / det], axis=-1)
    fit = ta * mean[:, 0] + tb * mean[:, 1]
    log_z = -0.5 * power * np.log(2 * np.pi * noise**2).sum(axis=0) - 0.5 * (y**2 / wide).sum(axis=0)
    log_z = log_z + 0.5 * (fit - 2 * p0 * middle**2) + 0.5 * np.log(p0**2 / det)
    sd_a = np.sqrt(bb / det)
    slope = -ab / bb
    sd_b = 1 / np.sqrt(bb)
    first = mean[:, None, 0] + sd_a[:, None] * draws[:, 0]
    second = mean[:, None, 1] + slope[:, None] * (first - mean[:, None, 0]) + sd_b[:, None] * draws[:, 1]
    grips = np.stack([first, second], axis=-1)
    allowed = first > 0
    if regions.kind not in EVERYWHERE:
        # Less inside than outside; half of all pairs are, beforehand.
        allowed = allowed & (second > 0) & (second < first)
        log_z = log_z + np.log(2)
    bounds = np.stack([bounds_of(use, cover, ratio).log_chance(grips, sigma) for ratio in ratios])
    return np.where(allowed, log_z[:, None] + power * bounds, NEVER), grips


@dataclass(frozen=True, eq=False)
class Bounds:
    """What gripping sides say, and sides that slide alone: a·outer + b·inner − least is above 0, for each of n looks.

    ``outer``, ``inner``: (n, r) per unit of grip outside and inside a region; ``least``: (n,);
    ``own``: (n, r) the noise that a bound has on top of the wander of friction.
    """

    outer: FloatArray
    inner: FloatArray
    least: FloatArray
    own: FloatArray

    def log_chance(self, grips: FloatArray, sigma: float) -> FloatArray:
        """Log probability (r, m) that all hold for grips (r, m, 2)."""
        if len(self.least) == 0:
            return np.zeros(grips.shape[:2])
        z = self.outer[..., None] * grips[None, ..., 0] + self.inner[..., None] * grips[None, ..., 1]
        z = (z - self.least[:, None, None]) / np.hypot(sigma, self.own)[..., None]
        log = np.zeros(z.shape)
        near = z < SURELY
        log[near] = log_ndtr(z[near])
        return np.asarray(log.sum(axis=0))


def bounds_of(use: GripUse, cover: Cover, ratio: float) -> Bounds:
    """Bounds for what sides use that grip at rest, with the grip while sliding ``ratio`` of that."""
    outside, inside = cover.outside, cover.inside
    rows: list[tuple[FloatArray, FloatArray, float, FloatArray]] = []
    if use.apart:
        for s, k in zip(*np.nonzero((use.state == GRIPS) & np.isfinite(use.own) & _peaks(use.own)), strict=True):
            own = np.sqrt(use.u_own[s, k] ** 2 + EDGE_GRIP**2 * cover.ragged[s, k])
            rows.append((outside[s, k] / ratio, inside[s, k] / ratio, float(use.own[s, k]), own))
    else:
        edge = EDGE_GRIP * np.sqrt(cover.ragged)
        for k in np.flatnonzero(use.all_grip & _peaks(use.used)):
            used = float(use.used[k])
            rows += [(outside[s, k] / ratio, inside[s, k] / ratio, used, edge[s, k]) for s in range(len(use.sides))]
        for k in np.flatnonzero(use.one_slides):
            y, slid, grips = float(use.used[k]), *(int(np.argmax(use.state[:, k] == at)) for at in (SLIDES, GRIPS))
            rows.append((-outside[slid, k], -inside[slid, k], -y * (1 + BALANCE), edge[slid, k]))
            out, into = (side[grips, k] / ratio + side[slid, k] for side in (outside, inside))
            rows.append((out, into, 2 * y, np.hypot(edge[slid, k], edge[grips, k])))
    if not rows:
        none = np.zeros((0, outside.shape[-1]))
        return Bounds(none, none, np.zeros(0), none)
    outer, inner, least, noise = zip(*rows, strict=True)
    return Bounds(np.array(outer), np.array(inner), np.array(least), np.array(noise))


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


def _peaks(used: FloatArray) -> BoolArray:
    """Looks whose use is not below both neighbours': what was gripped with a tenth of a second away says more."""
    low = np.full((*used.shape[:-1], 1), -np.inf)
    padded = np.nan_to_num(np.concatenate([low, used, low], axis=-1), nan=-np.inf)
    return np.asarray((used >= padded[..., :-2]) | (used >= padded[..., 2:]))
