"""Where and how large a change would have to be: a look over all times and places, narrowed down, then refitted."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from matchvision.verdict.explaining import Explanation
from matchvision.verdict.playing import Forecasted, Play
from matchvision.verdict.refitting import Refit, RunFitter, log_sum

FloatArray = npt.NDArray[np.float64]

#: By how much a time or place is narrowed down before it is refitted as a number.
NARROWED: Final = 8.0
#: A first look takes the model's own error as large, so that a size or time that is nearly right is not thrown out.
ROUGH: Final[Mapping[str, Any]] = {"shares": (0.08, 0.25), "chances": (0.5, 0.5)}
#: Sizes tried in a first look, as standard normal numbers: of a change without a time or place, and of others;
#: and the small ones that are tried from the numbers that fit best without a change.
SMALL_ALONE, SMALL_EACH = 0.0, -1.0
SIZES_ALONE, SIZES_EACH = (-1.5, -0.5, 0.5, 1.5), (-0.8, 0.8)

#: What the model gets wrong for the whole of a run, as a share of a drive, grip, mass or ratio: its tension agrees with
#: an independent engine to 3 %. The errors that a refit allows for come and go, and would average out.
MODEL_IN_SIZE: Final = 0.03


@dataclass(frozen=True, eq=False)
class Look:
    """What a look at an explanation gave: log evidence over its whole range, the best fit, and its time or place."""

    log_evidence: float
    fit: Refit
    at: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Found:
    """A refitted explanation: size and time or place with standard uncertainties (NaN: has no size)."""

    log_evidence: float
    fit: Refit
    size: float
    u_size: float
    at: tuple[float, ...]
    u_at: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Searcher:
    """Looks for explanations of one measured run.

    ``shared`` are the series' slopes by the stated numbers, ``plain`` the refit without any change.
    """

    forecasted: Forecasted
    fitter: RunFitter
    play: Play
    shared: Sequence[FloatArray]
    plain: Refit

    def look(self, explanation: Explanation) -> Look:
        """Evidence over all cells and sizes, each computed once and fitted along the shared slopes."""
        zero = np.zeros(self.forecasted.numbers)
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
        top = max(range(len(fits)), key=lambda i: fits[i].log_evidence)
        logs = [fit.log_evidence for fit in fits]
        return Look(log_sum(logs) - math.log(len(logs)), fits[top], explanation.cells[top])

    def narrow(self, explanation: Explanation, look: Look) -> Look:
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
        # A small change of what fits best without any may be better than a large one of the stated numbers.
        small = () if not explanation.has_size else (SMALL_ALONE if len(explanation.cells) == 1 else SMALL_EACH,)
        begin = np.append(self.plain.z, small)
        near = self.fitter.refit(lambda z: changed(z, at), begin, slopes=self.plain.slopes, rounds=3, anew=0)
        sharp = max(sharp, near, key=lambda fit: fit.log_evidence)
        evidence = sharp.log_evidence
        for spacing, span in explanation.spacing:
            # As if it were as likely over about two of the finest steps.
            evidence += math.log(min(1.0, 2 * spacing / NARROWED / span))
        return Look(evidence, sharp, at)

    def refit(self, explanation: Explanation, look: Look) -> Found:
        """Everything free: stated numbers, the size, the time or place.

        Times and places are evenly likely over their range: the refit's normal prior about the narrowed look is taken
        out again.
        """
        numbers, sized = self.forecasted.numbers, int(explanation.has_size)
        steps = np.array([spacing for spacing, _ in explanation.spacing]) / NARROWED

        def where(z: FloatArray) -> tuple[float, ...]:
            return tuple(float(c) for c in np.array(look.at) + steps * z[numbers + sized :])

        def changed(z: FloatArray) -> Sequence[FloatArray]:
            size = float(z[numbers]) if sized else 0.0
            return self.play(explanation.change(self.forecasted.match(z), size, where(z)))

        begin = np.concatenate([look.fit.z, np.zeros(len(steps))])
        fit = self.fitter.refit(changed, begin, slopes=look.fit.slopes, rounds=6)
        evidence = fit.log_evidence
        for step, (_, span), tau in zip(steps, explanation.spacing, fit.z[numbers + sized :], strict=True):
            evidence += math.log(step / span) + 0.5 * math.log(2 * math.pi) + 0.5 * float(tau) ** 2
        spreads = np.sqrt(np.diag(fit.covariance)[numbers + sized :]) * steps
        return Found(evidence, fit, *self._size(explanation, fit), where(fit.z), tuple(float(s) for s in spreads))

    def settle(self, explanation: Explanation, look: Look) -> Found:
        """A narrowed look as it is, its time or place as good as it was narrowed down."""
        spreads = tuple(spacing / NARROWED / math.sqrt(3) for spacing, _ in explanation.spacing)
        return Found(look.log_evidence, look.fit, *self._size(explanation, look.fit), look.at, spreads)

    def _size(self, explanation: Explanation, fit: Refit) -> tuple[float, float]:
        if not explanation.has_size:
            return math.nan, math.nan
        number = self.forecasted.numbers
        spread, z = math.sqrt(float(fit.covariance[number, number])), float(fit.z[number])
        u = abs(explanation.size_of(z + spread) - explanation.size_of(z - spread)) / 2
        return explanation.size_of(z), math.hypot(u, MODEL_IN_SIZE) if explanation.unit == "1" else u
