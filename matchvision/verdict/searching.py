"""Where and how large a change would have to be: a look over all times and places, narrowed down, then refitted."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.verdict.explaining import Explanation
from matchvision.verdict.playing import Alterable, Play
from matchvision.verdict.profiling import BETTER_NATS, Profile, profile
from matchvision.verdict.refitting import Predict, Refit, RunFitter, log_sum

FloatArray = npt.NDArray[np.float64]

#: By how much a time or place is narrowed down before it is refitted as a number.
NARROWED: Final = 8.0
#: A first look takes the model's own error as large, so that a size or time that is nearly right is not thrown out.
ROUGH: Final[Mapping[str, Any]] = {"shares": (0.08, 0.25), "chances": (0.5, 0.5)}
#: Sizes tried in a first look, as standard normal numbers: of a change without a time or place, and of others;
#: and the small ones that are tried from the numbers that fit best without a change.
SMALL_ALONE, SMALL_EACH = 0.0, -1.0
SIZES_ALONE, SIZES_EACH = (-1.5, -0.5, 0.5, 1.5), (-0.8, 0.8)

#: Precision of the prior that keeps a date or place near where it was narrowed down to while it is refitted: wide,
#: and taken out again.
PLACE_PRECISION: Final = 0.01
#: How often a walk over sizes and dates may begin anew from a better place.
BEGINNINGS: Final = 2
#: From how many places the search for a stretch begins, whose two ends and grip play into each other.
BEGUN_OF_TWO: Final = 3
#: A change that is likelier than none by this much (in nats) explains much.
MUCH_NATS: Final = 20.0
#: What the model gets wrong for the whole of a run, as a share of a drive, grip, mass or ratio: its tension agrees with
#: an independent engine to 3 %. The errors that a refit allows for come and go, and would average out.
MODEL_IN_SIZE: Final = 0.03
#: Likewise in every date and place: runs of an independent engine are dated to 13 ms (rms) where the series alone
#: would allow 2 to 10 ms, since what comes early or late does so in all series at once; a wheel meets an edge over
#: millimetres.
MODEL_IN_TIME_S, MODEL_IN_PLACE_M = 0.012, 0.003
#: What is added to a size by its unit: where a rope begins and wheels touch the table is known to millimetres as well.
SIZE_ERRORS: Final[Mapping[str, float]] = {"1": MODEL_IN_SIZE, "m": MODEL_IN_PLACE_M}


@dataclass(frozen=True, eq=False)
class Look:
    """What a look at an explanation gave: log evidence over its whole range, the best fit, and its time or place.

    ``others``: the next best places, from which the search is begun as well.
    """

    log_evidence: float
    fit: Refit
    at: tuple[float, ...]
    others: tuple["Look", ...] = ()


@dataclass(frozen=True, eq=False)
class Found:
    """A refitted explanation: size and time or place with standard uncertainties (NaN: has no size).

    ``origin``: the time or place from which the fit's own numbers count.
    """

    log_evidence: float
    fit: Refit
    size: float
    u_size: float
    at: tuple[float, ...]
    u_at: tuple[float, ...]
    origin: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Searcher:
    """Looks for explanations of one measured run.

    ``shared`` are the series' slopes by the match's numbers at ``start`` (all 0 unless given), ``plain`` the refit
    without any change.
    """

    forecasted: Alterable
    fitter: RunFitter
    play: Play
    shared: Sequence[FloatArray]
    plain: Refit
    start: FloatArray | None = None

    def look(self, explanation: Explanation) -> Look:
        """Evidence over all cells and sizes, each computed once and fitted along the shared slopes."""
        zero = np.zeros(self.forecasted.numbers) if self.start is None else self.start
        plain = self.forecasted.match(zero)
        alone = len(explanation.cells) == 1
        sizes = (SIZES_ALONE if alone else SIZES_EACH) if explanation.has_size else (0.0,)
        fits = []
        for cell in explanation.cells:
            played = [self.play(explanation.change(plain, size, cell)) for size in sizes]
            tried = []
            for i, size in enumerate(sizes):
                z, slopes = zero, list(self.shared)
                if explanation.has_size:
                    other = i + 1 if i + 1 < len(sizes) else i - 1
                    along = [
                        np.nan_to_num((b[known] - a[known]) / (sizes[other] - size))[:, None]
                        for a, b, known in zip(played[i], played[other], self.fitter.known, strict=True)
                    ]
                    z, slopes = np.append(zero, size), [np.hstack(pair) for pair in zip(slopes, along, strict=True)]
                tried.append(self.fitter.sum_up(z, played[i], slopes, **ROUGH))
            fits.append(max(tried, key=lambda fit: fit.log_evidence))
        order = sorted(range(len(fits)), key=lambda i: -fits[i].log_evidence)
        logs = [fit.log_evidence for fit in fits]
        begun = BEGUN_OF_TWO if len(explanation.spacing) == 2 else 1
        first, *others = (Look(logs[i], fits[i], explanation.cells[i]) for i in order[:begun])
        return replace(first, log_evidence=log_sum(logs) - math.log(len(logs)), others=tuple(others))

    def narrow(self, explanation: Explanation, look: Look) -> Look:
        """A look's time or place narrowed down, from each of its beginnings: the best of them."""
        found = (self._narrow(explanation, begin) for begin in (look, *look.others))
        return max(found, key=lambda each: each.log_evidence)

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
        changed, precision = self._freed(explanation, look)
        begin = np.concatenate([look.fit.z, np.zeros(len(explanation.spacing))])
        fit = self.fitter.refit(changed, begin, slopes=look.fit.slopes, rounds=6, anew=1, precision=precision)
        free = len(begin) - len(explanation.spacing)
        steps = np.array([spacing for spacing, _ in explanation.spacing]) / NARROWED
        spreads = np.sqrt(np.diag(fit.covariance)[free:]) * steps
        at = tuple(float(c) for c in self._not_before(explanation, np.array(look.at) + steps * fit.z[free:]))
        evidence = fit.log_evidence + evenly(explanation, fit.z)
        told = self.lasting(explanation, tuple(spreads))
        return Found(evidence, fit, *self.size(explanation, fit, self.forecasted.numbers), at, told, look.at)

    def sharpen(self, explanation: Explanation, look: Look, found: Found) -> Found:
        """What was found with its size, date and places integrated over, one after the other, instead of by curvature.

        Where a better place is met on the way, it begins anew from there.
        """
        numbers, sized = self.forecasted.numbers, int(explanation.has_size)
        steps = [spacing / NARROWED for spacing, _ in explanation.spacing]
        limits = [4.0] * sized + [span / step for step, (_, span) in zip(steps, explanation.spacing, strict=True)]
        if not limits:
            return found
        changed, precision = self._freed(explanation, look)
        fit = found.fit
        walks: list[Profile] = []
        for beginning in range(BEGINNINGS):
            walks = []
            for k, limit in enumerate(limits):
                walk = profile(
                    self.fitter, changed, fit, numbers + k, prior=k < sized, limit=limit, precision=precision
                )
                walks.append(walk)
                if walk.gained > BETTER_NATS and beginning < BEGINNINGS - 1:
                    fit = self.fitter.refit(changed, walk.best.z, rounds=4, anew=1, precision=precision)
                    break
            else:
                break
        size, u_size = math.nan, math.nan
        if sized:
            size, u_size = walks[0].moments(np.array([explanation.size_of(v) for v in walks[0].values]))
            u_size = math.hypot(u_size, SIZE_ERRORS.get(explanation.unit, 0.0))
        places = [
            walk.moments(self._not_before(explanation, centre + step * walk.values))
            for centre, step, walk in zip(look.at, steps, walks[sized:], strict=True)
        ]
        evidences = [w.log_evidence + evenly(explanation, fit.z, walked=k - sized) for k, w in enumerate(walks)]
        at, spreads = tuple(a for a, _ in places), tuple(u for _, u in places)
        told = self.lasting(explanation, spreads)
        return Found(float(np.mean(evidences)), fit, size, u_size, at, told, look.at)

    def _freed(self, explanation: Explanation, look: Look) -> tuple[Predict, FloatArray]:
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

    def _not_before(self, explanation: Explanation, values: FloatArray) -> FloatArray:
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
        return explanation.size_of(z), math.hypot(u, SIZE_ERRORS.get(explanation.unit, 0.0))


def evenly(explanation: Explanation, z: FloatArray, walked: int = -1) -> float:
    """What the evidence gains where dates and places are evenly likely over their range instead of normally.

    They are the last of the numbers ``z``; number ``walked`` of them had no prior yet.
    """
    gain = 0.0
    for k, (spacing, span) in enumerate(explanation.spacing):
        gain += math.log(spacing / NARROWED / span)
        if k != walked:
            tau = float(z[len(z) - len(explanation.spacing) + k])
            gain += 0.5 * math.log(2 * math.pi / PLACE_PRECISION) + 0.5 * PLACE_PRECISION * tau**2
    return gain
