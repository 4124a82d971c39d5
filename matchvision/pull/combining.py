"""Sources made one by generalised least squares, with the errors that they share kept shared."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.records.pull import BudgetLine, ErrorPart, PullSource
from matchvision.uncertainty import effective_degrees

#: Sources contradict each other where their difference exceeds this many of its standard uncertainties (99 %).
LIMIT: Final = 2.58
#: Variance [N²] of a source that does not count in a frame: no weight is left to it beside any real one.
_UNUSED_N2: Final = 1e12
#: Beside any real variance [N²] nothing; it keeps two sources that share all of their errors from being inseparable.
_LEAST_N2: Final = 1e-12


@dataclass(frozen=True, eq=False)
class Errors:
    """Errors of several sources by the inputs that cause them.

    Attributes
    ----------
    names : (p,) the inputs.
    effects : (p, k, n) array
        What one standard uncertainty of each does to each of k sources in each frame [N].
    common : (p,) bool array
        Which are the same in all frames.
    """

    names: tuple[str, ...]
    effects: FloatArray
    common: BoolArray

    @property
    def covariance(self) -> FloatArray:
        """(n, k, k) covariance of the sources in each frame [N²]."""
        return np.asarray(np.einsum("pin,pjn->nij", self.effects, self.effects))


def errors_by_input(sources: Sequence[PullSource]) -> Errors:
    """The sources' errors in common terms; one that does not tell its parts has two of its own."""
    parts = [source.parts or _unnamed(source) for source in sources]
    names = tuple(dict.fromkeys(part.name for own in parts for part in own))
    effects = np.zeros((len(names), len(sources), len(sources[0].tension_N)))
    common = np.zeros(len(names), dtype=np.bool_)
    for k, own in enumerate(parts):
        for part in own:
            p = names.index(part.name)
            effects[p, k] = np.nan_to_num(part.effect_N)
            common[p] |= part.common
    return Errors(names, effects, common)


def combine_sources(name: str, sources: Sequence[PullSource], usable: BoolArray | None) -> PullSource:
    """One tension from several, frame by frame, with the least uncertainty that their covariance allows.

    Parameters
    ----------
    usable : (k, n) bool array, optional
        Where each source may count. It must be known there in any case.

    Notes
    -----
    ``w = C⁻¹ 1 / (1ᵀ C⁻¹ 1)``, ``u² = wᵀ C w`` with the sources' covariance C in the frame (Aitken's generalised least
    squares; JCGM 100:2008, eq. 13, for what the weights make of it). An input's effect on the combined tension is its
    effects on the sources times the weights, so that what they share neither averages out nor counts twice.
    Checked by: tests/pull/test_fusing.py::test_two_agreeing_sources_weigh_by_inverse_variance,
    tests/pull/test_fusing.py::test_shared_error_does_not_average_out
    """
    tension_N = np.stack([s.tension_N for s in sources])
    known = usable_frames(sources) if usable is None else usable
    errors = errors_by_input(sources)
    covariance = errors.covariance
    there = known.T[:, :, None] & known.T[:, None, :]
    covariance = np.where(there, covariance, np.eye(len(sources)) * _UNUSED_N2) + np.eye(len(sources)) * _LEAST_N2
    weights = np.linalg.solve(covariance, np.ones((*known.T.shape, 1)))[..., 0].T
    weights = np.where(known, weights, 0.0)
    total = weights.sum(axis=0)
    some = known.any(axis=0) & (total > 0)
    weights = weights / np.where(some, total, 1.0)
    combined_N = np.where(some, np.sum(weights * np.where(known, tension_N, 0.0), axis=0), np.nan)
    effects = np.einsum("kn,pkn->pn", weights, np.where(known, errors.effects, 0.0))
    squared = effects**2
    u_N = np.where(some, np.sqrt(squared.sum(axis=0)), np.nan)
    u_common_N = np.where(some, np.sqrt(squared[errors.common].sum(axis=0)), np.nan)
    parts = tuple(
        ErrorPart(label, effect, bool(common))
        for label, effect, common in zip(errors.names, effects, errors.common, strict=True)
    )
    budget: tuple[BudgetLine, ...] = ()
    degrees = math.inf
    if some.any():
        peak = int(np.nanargmax(combined_N))
        budget = _budget(sources, weights[:, peak], parts, peak)
        counted = [k for k in range(len(sources)) if weights[k, peak] != 0]
        shares_N = np.array([weights[k, peak] * sources[k].u_tension_N[peak] for k in counted])
        degrees = effective_degrees(shares_N, np.array([sources[k].degrees for k in counted]))
    independent = all(s.independent for s in sources)
    return PullSource(name, combined_N, u_N, u_common_N, independent, budget, parts, degrees)


def join_alike(name: str, sources: Sequence[PullSource]) -> PullSource | None:
    """One source from those of both machines; None without any.

    One that is independent of the forecast is not mixed with one that is not. Neither of two deserves more trust, so
    where they contradict each other the truth may be either: half their difference counts as one more uncertainty.
    """
    chosen = [s for s in sources if s.independent] or sources
    if len(chosen) < 2:
        return chosen[0] if chosen else None
    joined = combine_sources(name, chosen, None)
    apart_N = np.abs(chosen[0].tension_N - chosen[1].tension_N)
    errors = errors_by_input(chosen)
    u_apart_N = np.sqrt(np.sum((errors.effects[:, 0] - errors.effects[:, 1]) ** 2, axis=0))
    differ = usable_frames(chosen).all(axis=0) & (np.nan_to_num(apart_N) > LIMIT * u_apart_N)
    if not differ.any():
        return joined
    part = ErrorPart(f"disagreement of both machines' {name}", np.where(differ, apart_N / 2, 0.0), common=True)
    peak = int(np.nanargmax(joined.tension_N))
    line = BudgetLine(part.name, float(part.effect_N[peak]), "N", part.common)
    return replace(
        joined,
        u_tension_N=np.hypot(joined.u_tension_N, part.effect_N),
        u_common_N=np.hypot(joined.u_common_N, part.effect_N),
        budget=tuple(sorted((*joined.budget, *((line,) if line.u > 0 else ())), key=lambda found: -found.u)),
        parts=(*joined.parts, part),
    )


def usable_frames(sources: Sequence[PullSource]) -> BoolArray:
    """Where each source says something, (k, n)."""
    tension_N, u_N = np.stack([s.tension_N for s in sources]), np.stack([s.u_tension_N for s in sources])
    return np.asarray(np.isfinite(tension_N) & np.isfinite(u_N) & (u_N > 0))


def _unnamed(source: PullSource) -> tuple[ErrorPart, ...]:
    own_N = np.sqrt(np.maximum(source.u_tension_N**2 - source.u_common_N**2, 0.0))
    return (
        ErrorPart(f"{source.source}, new in every frame", own_N, common=False),
        ErrorPart(f"{source.source}, common to all frames", source.u_common_N, common=True),
    )


def _budget(
    sources: Sequence[PullSource], weights: FloatArray, parts: Sequence[ErrorPart], peak: int
) -> tuple[BudgetLine, ...]:
    """The combined budget: inputs as in the sources' own budgets, with the sensitivity that the weights leave."""
    known = {line.name: line for source in reversed(sources) for line in source.budget}
    lines = []
    for part in parts:
        effect_N = float(part.effect_N[peak])
        if effect_N == 0:
            continue
        names = [s.source for s, w in zip(sources, weights, strict=True) if w != 0 and _has(s, part.name)]
        line = known.get(part.name)
        label = part.name if len(sources) == 1 else f"{' and '.join(dict.fromkeys(names))}: {part.name}"
        if line is None or not line.u_value > 0:
            lines.append(BudgetLine(label, abs(effect_N), "N", part.common))
            continue
        lines.append(
            BudgetLine(
                label,
                abs(effect_N),
                "N",
                part.common,
                value=line.value,
                u_value=line.u_value,
                value_unit=line.value_unit,
                sensitivity=effect_N / line.u_value,
            )
        )
    return tuple(sorted(lines, key=lambda line: -line.u))


def _has(source: PullSource, name: str) -> bool:
    return any(part.name == name for part in source.parts or _unnamed(source))
