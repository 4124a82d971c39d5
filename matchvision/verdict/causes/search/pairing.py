"""Two causes together, where one does not do: the best single ones, each with every other one added to it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.machine import MatchModel
from matchvision.verdict.causes.refits.playing import Alterable
from matchvision.verdict.causes.refits.sharing import at_each
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import NARROWED, PLACE_PRECISION, Found, Look, evenly
from matchvision.verdict.causes.search.searching import Searcher

#: How many single causes are tried as the first of two, and how many second ones are narrowed down and refitted.
FIRST_ONES, NARROWED_ONES, REFITTED_ONES = 2, 5, 2


@dataclass(frozen=True, eq=False)
class Altered:
    """A match in which one explanation is at work: its size, time or place come after the match's own numbers."""

    plain: Alterable
    explanation: Explanation
    origin: tuple[float, ...]

    @property
    def numbers(self) -> int:
        """How many numbers `match` takes."""
        return self.plain.numbers + int(self.explanation.has_size) + len(self.origin)

    @property
    def precision(self) -> FloatArray:
        """Of each number's normal prior."""
        own = [1.0] * int(self.explanation.has_size) + [PLACE_PRECISION] * len(self.origin)
        return np.append(self.plain.precision, own)

    def at(self, z: FloatArray) -> tuple[float, ...]:
        """The explanation's time or place."""
        first = self.plain.numbers + int(self.explanation.has_size)
        steps = [spacing / NARROWED for spacing, _ in self.explanation.spacing]
        own = z[first : first + len(self.origin)]
        return tuple(float(o + s * t) for o, s, t in zip(self.origin, steps, own, strict=True))

    def match(self, z: FloatArray) -> MatchModel:
        """The match with these numbers."""
        own = self.plain.numbers
        size = float(z[own]) if self.explanation.has_size else 0.0
        return self.explanation.change(self.plain.match(z[:own]), size, self.at(z))


@dataclass(frozen=True, eq=False)
class FoundPair:
    """Two explanations refitted together; ``first`` and ``second`` share evidence and fit."""

    explanations: tuple[Explanation, Explanation]
    first: Found
    second: Found


def pair_up(
    searcher: Searcher, explanations: Sequence[Explanation], singles: Sequence[tuple[Explanation, Found]]
) -> list[FoundPair]:
    """The best pairs that begin with one of the best single explanations.

    ``singles`` must have been refitted with all that is free. The same cause of the same machine is not added twice.
    """
    order = sorted(singles, key=lambda one: -one[1].log_evidence)
    pairs: list[FoundPair] = []
    for explanation, found in order[:FIRST_ONES]:
        altered = Altered(searcher.forecasted, explanation, found.origin)
        if len(found.fit.z) != altered.numbers:
            continue
        both = Searcher(altered, searcher.fitter, searcher.play, found.fit.slopes, found.fit, found.fit.z)
        others = [e for e in explanations if (e.cause, e.machine) != (explanation.cause, explanation.machine)]
        pairs += _add_second(both, altered, others)
    return pairs


def _add_second(both: Searcher, altered: Altered, others: Sequence[Explanation]) -> list[FoundPair]:
    """The best second explanations beside the one that is at work in ``altered``."""
    looks = _best(others, at_each(both.look, others), NARROWED_ONES)
    narrowed = _best([e for e, _ in looks], at_each(lambda one: both.narrow(*one), looks), REFITTED_ONES)
    seconds = at_each(lambda one: both.refit(*one), narrowed)
    return [_refit(both, altered, other, second) for (other, _), second in zip(narrowed, seconds, strict=True)]


def _best(explanations: Sequence[Explanation], looks: Iterable[Look], count: int) -> list[tuple[Explanation, Look]]:
    """The likeliest ones, with their looks."""
    return sorted(zip(explanations, looks, strict=True), key=lambda each: -each[1].log_evidence)[:count]


def part_again(searcher: Searcher, pair: FoundPair) -> tuple[tuple[Explanation, Found], ...]:
    """Each part of a pair alone, settled from the numbers that the pair ended with.

    Two that leave nearly the same traces are one: where the pair only met a better way downhill, the part that did so
    gets there alone.
    """
    z, own = pair.second.fit.z, searcher.forecasted.numbers
    first, second = pair.explanations
    split = own + int(first.has_size) + len(first.spacing)
    return (
        (first, searcher.again(first, pair.first.origin, z[:split])),
        (second, searcher.again(second, pair.second.origin, np.concatenate([z[:own], z[split:]]))),
    )


def _refit(both: Searcher, altered: Altered, other: Explanation, second: Found) -> FoundPair:
    z, own = second.fit.z, altered.plain.numbers
    sized, dates = int(altered.explanation.has_size), len(altered.origin)
    gained = evenly(altered.explanation, z[: own + sized + dates])
    size, u_size = both.size(altered.explanation, second.fit, own)
    spacing = np.array([each for each, _ in altered.explanation.spacing]) / NARROWED
    variances = np.diag(second.fit.covariance)[own + sized : own + sized + dates]
    spreads = both.lasting(altered.explanation, tuple(np.sqrt(variances) * spacing))
    evidence = second.log_evidence + gained
    first = Found(evidence, second.fit, size, u_size, altered.at(z), spreads, altered.origin)
    return FoundPair(
        (altered.explanation, other),
        first,
        Found(evidence, second.fit, second.size, second.u_size, second.at, second.u_at, second.origin),
    )
