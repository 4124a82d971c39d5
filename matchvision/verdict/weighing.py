"""Which explanation of a run is likeliest: each refitted to what was measured, and compared by evidence."""

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.verdict.explaining import Explanation
from matchvision.verdict.observing import Observed
from matchvision.verdict.playing import Forecasted, player
from matchvision.verdict.refitting import UNEXPLAINED_CHANCES, UNEXPLAINED_ERRORS, Refit, RunFitter, log_sum
from matchvision.verdict.searching import Found, Searcher

FloatArray = npt.NDArray[np.float64]

#: Beforehand: it went as predicted, something happened that no explanation covers, and the rest for all explanations.
AS_PREDICTED_BEFORE, UNEXPLAINED_BEFORE = 0.5, 0.08
#: Explanations this much less likely than the best (in nats) after a first look are not narrowed down. That look takes
#: the model's error as large and only a few sizes.
LOOK_WITHIN: Final = 60.0
#: Explanations this much less likely than the best after that are not refitted with all slopes computed anew.
REFIT_WITHIN: Final = 8.0
#: At least and at most so many are: a few steps do not bring a large change to its best.
REFIT_LEAST, REFIT_MOST = 5, 8


@dataclass(frozen=True, eq=False)
class Weighed:
    """One explanation with its probability; size and since when with their standard uncertainties (NaN: has none).

    ``cause`` is "as-predicted" or "unexplained" where ``explanation`` is None.
    """

    cause: str
    explanation: Explanation | None
    probability: float
    size: float
    u_size: float
    at: tuple[float, ...]
    u_at: tuple[float, ...]
    fit: Refit


def weigh(
    forecasted: Forecasted,
    observed: Observed,
    explanations: Sequence[Explanation],
    touched_s: float | None,
    logged: Forecasted | None = None,
) -> tuple[Weighed, ...]:
    """Probabilities of all explanations, likeliest first; together with "as-predicted" and "unexplained" they add to 1.

    Parameters
    ----------
    forecasted : the forecast's match.
    observed : the measured run.
    explanations : those that are thought of.
    touched_s : match time since which a hand was seen over the table; adds the cause "touched".
    logged : the same match with the commands as they were logged; adds the cause "command-changed", and every
        explanation then starts from it, so that what a command explains is blamed on nothing else.

    Notes
    -----
    "As predicted" has the stated numbers integrated over their stated uncertainties, and every explanation has one
    change more, integrated over its own prior: a change that gains little is not believed, since its prior is thin
    (D. J. C. MacKay, "Bayesian interpolation", Neural Computation 4 (1992) 415). A first look takes the slopes by the
    stated numbers from "as predicted"; the best are then refitted with all slopes anew, and their time or place as a
    number of its own.
    """
    fitter = RunFitter(observed)
    play = player(forecasted, observed)

    def as_stated(z: FloatArray) -> Sequence[FloatArray]:
        return play(forecasted.match(z))

    zero = np.zeros(forecasted.numbers)
    plain = as_stated(zero)
    shared = fitter.slopes_of(as_stated, zero, plain, range(forecasted.numbers))
    base = fitter.refit(as_stated, zero, slopes=shared, rounds=6)
    loose = fitter.sum_up(zero, plain, shared, shares=UNEXPLAINED_ERRORS, chances=UNEXPLAINED_CHANCES)
    found = _search(Searcher(logged or forecasted, fitter, play, shared, base), explanations, base.log_evidence)
    causes = len({e.cause for e in explanations}) + (touched_s is not None) + (logged is not None)
    each = math.log((1.0 - AS_PREDICTED_BEFORE - UNEXPLAINED_BEFORE) / max(causes, 1))

    def plainly(fit: Refit) -> Found:
        return Found(fit.log_evidence, fit, math.nan, math.nan, (), ())

    out: list[tuple[float, str, Explanation | None, Found]] = [
        (math.log(AS_PREDICTED_BEFORE), "as-predicted", None, plainly(base)),
        (math.log(UNEXPLAINED_BEFORE), "unexplained", None, plainly(_beside(loose, found))),
    ]
    if touched_s is not None:
        told = RunFitter(observed, touched_s).refit(as_stated, zero, slopes=shared, rounds=3, anew=0)
        out.append((each, "touched", None, plainly(told)))
    if logged is not None:
        commanded = fitter.refit(lambda z: play(logged.match(z)), zero, rounds=6)
        out.append((each, "command-changed", None, plainly(commanded)))
    for explanation, one in found:
        alike = sum(e.cause == explanation.cause for e in explanations)
        out.append((each - math.log(alike), explanation.cause, explanation, one))
    logs = [before + one.log_evidence for before, _, _, one in out]
    total = log_sum(logs)
    weighed = [
        Weighed(
            cause, explanation, math.exp(log - total), one.size, one.u_size, one.at, one.u_at, one.fit
        )
        for log, (_, cause, explanation, one) in zip(logs, out, strict=True)
    ]  # fmt: skip
    return tuple(sorted(weighed, key=lambda w: -w.probability))


def _beside(loose: Refit, found: Sequence[tuple[Explanation, Found]]) -> Refit:
    """The unexplained: about the forecast, or as likely about the explanation that comes nearest and is not enough."""
    near = [
        one.log_evidence - one.fit.log_evidence + one.fit.loose_log_evidence
        for _, one in found
        if math.isfinite(one.fit.loose_log_evidence)
    ]
    if not near:
        return loose
    return replace(loose, log_evidence=log_sum([loose.log_evidence, max(near)]) - math.log(2.0))


def _search(searcher: Searcher, explanations: Sequence[Explanation], rival: float) -> list[tuple[Explanation, Found]]:
    """All explanations looked at and narrowed down, and the best of them refitted.

    ``rival`` is the log evidence that the best of them must come near to be worth it.
    """
    with ThreadPoolExecutor(2) as pool:
        looks = list(pool.map(searcher.look, explanations))
        for i, ours in enumerate(explanations):
            for j, theirs in enumerate(explanations):
                # The same cause on another side of the machine may be as likely from the same beginning.
                if (theirs.cause, theirs.machine) == (ours.cause, ours.machine):
                    looks[i] = max(looks[i], looks[j], key=lambda look: look.log_evidence)
        most = max((look.log_evidence for look in looks), default=0.0)
        likely = [i for i, look in enumerate(looks) if look.log_evidence > most - LOOK_WITHIN]
        narrowed = list(pool.map(lambda i: searcher.narrow(explanations[i], looks[i]), likely))
        best = max([rival, *(look.log_evidence for look in narrowed)])
        order = sorted(range(len(likely)), key=lambda i: -narrowed[i].log_evidence)[:REFIT_MOST]
        worth = {i for i in order if narrowed[i].log_evidence > best - REFIT_WITHIN} | set(order[:REFIT_LEAST])

        def finish(i: int) -> tuple[Explanation, Found]:
            told = searcher.refit if i in worth else searcher.settle
            return explanations[likely[i]], told(explanations[likely[i]], narrowed[i])

        return list(pool.map(finish, range(len(likely))))
