"""Where and how large a change would have to be: a look over all times and places, narrowed down, then refitted."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.refits.playing import Alterable, Play
from matchvision.verdict.causes.refits.refitting import Predict, Refit, RunFitter, log_sum
from matchvision.verdict.causes.refits.settling import settle
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import (
    MODEL_IN_PLACE_M,
    MODEL_IN_TIME_S,
    NARROWED,
    PLACE_PRECISION,
    Found,
    Look,
    evenly,
    is_number,
    jumps,
    model_error,
)

#: A first look takes the model's own error as large, so that a size or time that is nearly right is not thrown out.
ROUGH: Final[Mapping[str, Any]] = {"shares": (0.08, 0.32), "chances": (0.5, 0.5)}
#: Sizes tried in a first look, as standard normal numbers: of a change without a time or place, and of others;
#: and the small ones that are tried from the numbers that fit best without a change.
SMALL_ALONE, SMALL_EACH = 0.0, -1.0
SIZES_ALONE, SIZES_EACH = (-1.5, -0.5, 0.5, 1.5), (-0.8, 0.8)
#: Of a stretch, where a little more or less grip decides whether wheels break loose on it; and of a change at the
#: moment at which the run left what the match can give without it, where one of all there is counts as well.
SIZES_OF_TWO, SIZES_AT_ONSET = (-1.2, -0.4, 0.4, 1.2), (-0.8, 0.4, 1.6)
#: Of a change without a time or place, the sizes that are held while all other numbers follow.
SIZES_HELD: Final = (-0.8, 0.8)
#: What is less likely than no change by more than this (nats) while its size is held is not set free.
HELD_WITHIN: Final = 10.0
#: What is likelier by this much is brought downhill by so many steps with all slopes anew.
HELD_BETTER, HELD_ROUNDS = 1.0, 8
#: What was not computed may add so much (nats) to a look: farther on the slopes are no longer those of the match.
LOOK_UNSEEN: Final = 30.0

#: From how many places the search for a stretch begins, whose two ends and grip play into each other, or for a wall.
BEGUN_AT_PLACES: Final = 3
#: Of other beginnings those this near (in nats) are kept after narrowing down; so many are brought to their minimum.
OTHERS_WITHIN, OTHERS_CONVERGED = 60.0, 3
#: Steps from each beginning, and then from the best of them.
FIRST_ROUNDS, ALL_ROUNDS = 3, 10
#: A change that is likelier than none by this much (in nats) explains much.
MUCH_NATS: Final = 20.0


@dataclass(frozen=True, eq=False)
class Searcher:
    """Looks for explanations of one measured run.

    ``shared`` are the series' slopes by the match's numbers at ``start`` (all 0 unless given), ``plain`` the refit
    without any change, ``onset_s`` when the run left what the match can give without one, ``before`` the refit until
    then.
    """

    forecasted: Alterable
    fitter: RunFitter
    play: Play
    shared: Sequence[FloatArray]
    plain: Refit
    start: FloatArray | None = None
    onset_s: float | None = None
    before: Refit | None = None

    def look(self, explanation: Explanation) -> Look:
        """Evidence over all cells and sizes, each computed once and fitted along the shared slopes.

        The search begins from the best of them, from several of a stretch, of a dated change from where the run left
        the match without it as well, and of one that was there all along from the numbers that fit best without it:
        whether wheels hold against it may hang on them. What begins from fitted numbers fits well, change or not, so
        that it is told apart.
        """
        alone, of_two, second = len(explanation.cells) == 1, len(explanation.spacing) == 2, self.start is not None
        sizes = SIZES_ALONE if alone else SIZES_OF_TWO if of_two and not second else SIZES_EACH
        # Of a second cause every other date will do: narrowing reaches as far.
        cells = explanation.cells[:: 2 if second and explanation.dated else 1]
        scanned = of_two and self.before is not None
        looks = [self._look_at(explanation, cell, SIZES_EACH if scanned else sizes) for cell in cells]
        logs = [look.log_evidence for look in looks]
        begun = sorted(looks, key=lambda each: -each.log_evidence)[: BEGUN_AT_PLACES if jumps(explanation) else 1]
        told, near = log_sum(logs) - math.log(len(logs)), []
        if explanation.dated and self.onset_s is not None:
            begun.append(self._look_at(explanation, (self.onset_s,), SIZES_AT_ONSET))
            told = max(told, begun[-1].log_evidence - math.log(len(logs)))
            near = [self._look_at(explanation, (self.onset_s,), SIZES_AT_ONSET, self.before)]
        elif jumps(explanation) and self.before is not None:
            # A wall or an edge that is met a tenth of a second too early seems to be none.
            every = cells if scanned else [one.at for one in begun]
            near = sorted((self._look_at(explanation, at, sizes, self.before) for at in every), key=_evidence)
            near = near[: -1 - BEGUN_AT_PLACES : -1] if scanned else near[-1:]
        elif alone and not second:
            near = [self._look_at(explanation, explanation.cells[0], sizes, self.plain)]
        first, *others = sorted([*begun, *near], key=_evidence, reverse=True)[: BEGUN_AT_PLACES + 1]
        fitted = max((one.log_evidence for one in near), default=-math.inf) - math.log(len(logs))
        return replace(first, log_evidence=told, fitted_log_evidence=fitted, others=tuple(others))

    def _look_at(
        self, explanation: Explanation, at: tuple[float, ...], sizes: Sequence[float], begin: Refit | None = None
    ) -> Look:
        """The best of several sizes at one time or place, by the shared slopes and those between neighbouring sizes.

        ``begin``: whose numbers and slopes are taken instead of the search's own.
        """
        zero = np.zeros(self.forecasted.numbers) if self.start is None else self.start
        shared = self.shared
        if begin is not None:
            zero, shared = begin.z, begin.slopes
        plain = self.forecasted.match(zero)
        every = [self.play(explanation.change(plain, z, at)) for z in (sizes if explanation.has_size else (0.0,))]
        tried = []
        for i, played in enumerate(every):
            z, slopes = zero, list(shared)
            if explanation.has_size:
                other = i + 1 if i + 1 < len(sizes) else i - 1
                along = [
                    np.nan_to_num((b[known] - a[known]) / (sizes[other] - sizes[i]))[:, None]
                    for a, b, known in zip(played, every[other], self.fitter.known, strict=True)
                ]
                z, slopes = np.append(zero, sizes[i]), [np.hstack(two) for two in zip(slopes, along, strict=True)]
            fit = self.fitter.sum_up(z, played, slopes, **ROUGH, unseen=LOOK_UNSEEN)
            tried.append(Look(fit.log_evidence, fit, at, tried=z))
        return max(tried, key=lambda look: look.log_evidence)

    def narrow(self, explanation: Explanation, look: Look) -> Look:
        """A look's time or place narrowed down, from each of its beginnings: the best of them, beside the others.

        Whether wheels break loose on a stretch hangs on its edges and grip together, by jumps: of places the others are
        what was looked at.
        """
        found = [self._narrow(explanation, begin) for begin in (look, *look.others)]
        held = self.hold(explanation) if is_number(explanation) and self.start is None else None
        if held is not None:
            found.append(held)
        first, *others = sorted(found, key=lambda each: -each.log_evidence)
        if jumps(explanation):
            return replace(first, others=(replace(look, others=()), *look.others))
        return replace(first, others=tuple(o for o in others if o.log_evidence > first.log_evidence - OTHERS_WITHIN))

    def _narrow(self, explanation: Explanation, look: Look) -> Look:
        """A look's time or place narrowed down, each coordinate in turn, to an eighth of the cells' spacing.

        A jump's date is no smooth number: a step that passes it by finds no way back along the slope.
        """

        def changed(z: FloatArray, at: tuple[float, ...]) -> Sequence[FloatArray]:
            size = float(z[-1]) if explanation.has_size else 0.0
            return self.play(explanation.change(self.forecasted.match(z), size, at))

        def settled(z: FloatArray, at: tuple[float, ...], slopes: Sequence[FloatArray]) -> Refit:
            return self.fitter.refit(lambda z: changed(z, at), z, slopes=slopes, rounds=2, anew=0, **ROUGH)

        at = look.at
        best = settled(look.fit.z, at, self.shared)
        for part in (0.5, 0.25, 0.125):
            before = at
            for coordinate, (spacing, _) in enumerate(explanation.spacing):
                middle = at
                for side in (-1.0, 1.0):
                    moved = list(middle)
                    moved[coordinate] += side * part * spacing
                    fit = self.fitter.sum_up(best.z, changed(best.z, tuple(moved)), best.slopes, **ROUGH)
                    if fit.log_evidence > best.log_evidence:
                        best, at = fit, tuple(moved)
            if at != before:
                best = settled(best.z, at, best.slopes)
        sharp = self.fitter.refit(lambda z: changed(z, at), best.z, slopes=best.slopes, rounds=4, anew=0)
        begin, slopes = self._other_beginning(explanation, sharp)
        near = self.fitter.refit(lambda z: changed(z, at), begin, slopes=slopes, rounds=3, anew=0)
        sharp = max(sharp, near, key=lambda fit: fit.log_evidence)
        evidence = sharp.log_evidence
        for spacing, span in explanation.spacing:
            # As if it were as likely over about two of the finest steps.
            evidence += math.log(min(1.0, 2 * spacing / NARROWED / span))
        return Look(evidence, sharp, at)

    def hold(self, explanation: Explanation) -> Look | None:
        """The best look from the numbers that fit best without a change, which first follow a size that is held.

        Where a stated number has been stretched to stand in for the change, what lies between the two may be a ridge:
        no step from either side leads over it. A size that is then set free must be nearly as good as no change; None
        where none is.
        """

        def changed(z: FloatArray) -> Sequence[FloatArray]:
            return self.play(explanation.change(self.forecasted.match(z), float(z[-1]), ()))

        found = []
        for size in SIZES_HELD:
            fit = self.fitter.refit(
                lambda z, size=size: changed(np.append(z, size)),  # type: ignore[misc]
                self.plain.z,
                slopes=self.plain.slopes,
                rounds=4,
                anew=0,
            )
            if fit.log_evidence > self.plain.log_evidence - HELD_WITHIN:
                begin = np.append(fit.z if fit.computed is None else fit.computed, size)
                free = self.fitter.refit(changed, begin, slopes=fit.slopes, rounds=4, anew=0)
                if fit.log_evidence > self.plain.log_evidence + HELD_BETTER:
                    precision = np.append(self.forecasted.precision, 1.0)
                    spreads = np.diag(1.0 / np.maximum(precision, 1.0))
                    free = settle(
                        self.fitter, changed, replace(free, z=begin, covariance=spreads), precision, HELD_ROUNDS
                    )
                found.append(Look(free.log_evidence, free, ()))
        return max(found, key=_evidence, default=None)

    def _other_beginning(self, explanation: Explanation, sharp: Refit) -> tuple[FloatArray, Sequence[FloatArray]]:
        """Numbers to begin a narrowed look from once more, and slopes by the first of them.

        A small change of what fits best without any may be better than a large one of the stated numbers. Where the
        change explains much, numbers that were moved while it was only roughly right may hold it back.
        """
        if sharp.log_evidence > self.plain.log_evidence + MUCH_NATS:
            plain = np.zeros(self.forecasted.numbers) if self.start is None else self.start
            return np.append(plain, sharp.z[self.forecasted.numbers :]), self.shared
        small = () if not explanation.has_size else (SMALL_ALONE if len(explanation.cells) == 1 else SMALL_EACH,)
        return np.append(self.plain.z, small), self.plain.slopes

    def refit(self, explanation: Explanation, look: Look) -> Found:
        """Everything free: stated numbers, the size, the time or place, which is as likely anywhere in its range."""
        changed, precision = self.freed(explanation, look)
        # From where a match was computed: a step along the slopes from there may lead over a ridge.
        own = look.fit.z if look.fit.computed is None else look.fit.computed
        begin = np.concatenate([own, np.zeros(len(explanation.spacing))])
        fit = self.fitter.refit(changed, begin, slopes=look.fit.slopes, rounds=6, anew=1, precision=precision)
        return self._found(explanation, look, fit)

    def tells(self, explanation: Explanation, found: Found, look: Look) -> bool:
        """Whether the match as refitted with it can be told from the one refitted without any change."""
        z = found.fit.z if found.fit.computed is None else found.fit.computed
        changed, _ = self.freed(explanation, look)
        plain = self.plain.z if self.plain.computed is None else self.plain.computed
        return self.fitter.differ(self.play(self.forecasted.match(plain)), changed(z))

    def converge(self, explanation: Explanation, look: Look, found: Found) -> tuple[Look, Found]:
        """What was found with everything free, brought to its true minimum, and so were the look's next best places.

        The best of them, and the look that it came from.
        """
        sized, places = int(explanation.has_size), len(explanation.spacing)
        own = len(found.fit.z) - sized - places
        # Along the slopes it may be better still; over a jump it is not.
        begun = [(look, found.fit.z if found.fit.computed is None else found.fit.computed)]
        for other in look.others[:OTHERS_CONVERGED]:
            told = (
                self.refit(explanation, other).fit.z if other.tried is None else np.append(other.tried, [0.0] * places)
            )
            begun.append((other, told))
        if self.before is not None and (explanation.dated or places):
            begun.append((look, np.append(self.before.z, found.fit.z[own:])))
        few = FIRST_ROUNDS if len(begun) > 1 else ALL_ROUNDS
        rough = [(each, self._settled(explanation, each, z, few)) for each, z in begun]
        if len(begun) == 1:
            return rough[0]
        best, one = max(rough, key=lambda each: each[1].log_evidence)
        return best, self._settled(explanation, best, one.fit.z, ALL_ROUNDS)

    def _settled(self, explanation: Explanation, look: Look, begin: FloatArray, rounds: int) -> Found:
        """Everything free, settled from these numbers."""
        changed, precision = self.freed(explanation, look)
        spreads = np.diag(1.0 / np.maximum(precision, 1.0))
        fit = settle(self.fitter, changed, Refit(begin, spreads, -math.inf, math.nan, ()), precision, rounds)
        return self._found(explanation, look, fit)

    def again(self, explanation: Explanation, origin: tuple[float, ...], begin: FloatArray) -> Found:
        """Everything free, settled from numbers that were met elsewhere; ``origin``: from which its places count."""
        return self._settled(explanation, Look(-math.inf, self.plain, origin), begin, ALL_ROUNDS)

    def _found(self, explanation: Explanation, look: Look, fit: Refit) -> Found:
        free = len(fit.z) - len(explanation.spacing)
        steps = np.array([spacing for spacing, _ in explanation.spacing]) / NARROWED
        spreads = np.sqrt(np.diag(fit.covariance)[free:]) * steps
        at = tuple(float(c) for c in self.not_before(explanation, np.array(look.at) + steps * fit.z[free:]))
        evidence = fit.log_evidence + evenly(explanation, fit.z)
        told = self.lasting(explanation, tuple(spreads))
        return Found(evidence, fit, *self.size(explanation, fit, self.forecasted.numbers), at, told, look.at)

    def ends(self, explanation: Explanation, look: Look) -> tuple[list[float], list[float]]:
        """Lowest and highest numbers of dates and places: dates within the run, places within their range's width."""
        steps = [spacing / NARROWED for spacing, _ in explanation.spacing]
        widths = [span / step for step, (_, span) in zip(steps, explanation.spacing, strict=True)]
        if not explanation.dated:
            return [-width for width in widths], widths
        end_s = float(self.fitter.observed.t_s[-1])
        return [-look.at[0] / steps[0]], [(end_s - look.at[0]) / steps[0]]

    def freed(self, explanation: Explanation, look: Look) -> tuple[Predict, FloatArray]:
        """The computed series by all numbers (stated ones, size, date or places), and the priors' precisions."""
        numbers, sized = self.forecasted.numbers, int(explanation.has_size)
        steps = np.array([spacing for spacing, _ in explanation.spacing]) / NARROWED

        def changed(z: FloatArray) -> Sequence[FloatArray]:
            size = float(z[numbers]) if sized else 0.0
            at = np.array(look.at) + steps * z[numbers + sized :]
            return self.play(explanation.change(self.forecasted.match(z), size, tuple(float(c) for c in at)))

        own = np.concatenate([np.ones(sized), np.full(len(steps), PLACE_PRECISION)])
        return changed, np.append(self.forecasted.precision, own)

    def settle(self, explanation: Explanation, look: Look) -> Found:
        """A narrowed look as it is, its time or place as good as it was narrowed down."""
        spreads = tuple(spacing / NARROWED / math.sqrt(3) for spacing, _ in explanation.spacing)
        return Found(
            look.log_evidence,
            look.fit,
            *self.size(explanation, look.fit, self.forecasted.numbers),
            look.at,
            self.lasting(explanation, spreads),
        )

    def not_before(self, explanation: Explanation, values: FloatArray) -> FloatArray:
        """Dates and delays are told from the start on: what was gone before it was gone then."""
        return np.maximum(values, 0.0) if explanation.dated or explanation.unit == "s" else values

    def lasting(self, explanation: Explanation, spreads: Sequence[float]) -> tuple[float, ...]:
        """Uncertainties of dates and places with what the model and the start's date get wrong all along."""
        timed = explanation.dated or explanation.unit == "s"
        more = math.hypot(MODEL_IN_TIME_S, self.fitter.observed.u_start_s) if timed else MODEL_IN_PLACE_M
        return tuple(math.hypot(float(spread), more) for spread in spreads)

    def size(self, explanation: Explanation, fit: Refit, number: int) -> tuple[float, float]:
        """A refitted size and its standard uncertainty; it is number ``number`` of the fit's."""
        if not explanation.has_size:
            return math.nan, math.nan
        spread, z = math.sqrt(float(fit.covariance[number, number])), float(fit.z[number])
        u = abs(explanation.size_of(z + spread) - explanation.size_of(z - spread)) / 2
        size = explanation.size_of(z)
        return size, math.hypot(u, model_error(explanation, size))


def _evidence(look: Look) -> float:
    return look.log_evidence
