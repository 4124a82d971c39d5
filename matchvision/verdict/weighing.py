"""Which explanation of a run is likeliest: each refitted to what was measured, and compared by evidence."""

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.verdict.causing import FALSE_ALARM
from matchvision.verdict.erring import UNEXPLAINED_CHANCES, UNEXPLAINED_ERRORS, Loosened
from matchvision.verdict.explaining import Explanation
from matchvision.verdict.finding import Found, Look
from matchvision.verdict.observing import Observed
from matchvision.verdict.onset import onset_s
from matchvision.verdict.pairing import FoundPair, pair_up, part_again
from matchvision.verdict.playing import Forecasted, player
from matchvision.verdict.refitting import Predict, Refit, RunFitter, log_sum
from matchvision.verdict.searching import Searcher
from matchvision.verdict.settling import SEED, draw, settle
from matchvision.verdict.sharpening import sharpen
from matchvision.verdict.touching import STAYS, by_hand, left_alone

FloatArray = npt.NDArray[np.float64]

#: Beforehand: it went as predicted, something happened that no explanation covers, and the rest for all explanations.
AS_PREDICTED_BEFORE, UNEXPLAINED_BEFORE = 0.5, 0.08
#: Of what is left for explanations, the part for two together: they are tried only where one does not do.
TWO_BEFORE: Final = 0.1
#: One does not do where, under the best of them, the mean square misfit is beyond what the model's widest error allows.
ONE_DOES_NOT_DO: Final = 1.0
#: Explanations this much less likely than the best (in nats) after a first look are not narrowed down. That look takes
#: the model's error as large and only a few sizes.
LOOK_WITHIN: Final = 60.0
#: Nor are more than so many.
LOOK_MOST: Final = 10
#: And so many of those that are best from fitted numbers, where a change of nothing is as good as none at all.
LOOK_FITTED: Final = 4
#: Explanations this much less likely than the best after that are not refitted with all slopes computed anew.
REFIT_WITHIN: Final = 8.0
#: Those this near to the best are brought to their true minimum.
CONVERGE_WITHIN: Final = 40.0
#: But no more than so many.
CONVERGED_MOST: Final = 4
#: Those this near to the best have their sizes and dates integrated over.
SHARPEN_WITHIN: Final = 3.5
#: But no more than so many.
SHARPENED_MOST: Final = 4
#: From the ends of so many explanations the refit without a change is begun again.
BEGUN_AGAIN: Final = 4
#: Steps towards the numbers that fit best until the run left what the match can give without a change.
BEFORE_ROUNDS: Final = 3
#: Draws over what evidences may be.
CHANCE_DRAWS: Final = 400
#: At least and at most so many are: a few steps do not bring a large change to its best.
REFIT_LEAST, REFIT_MOST = 4, 7


@dataclass(frozen=True, eq=False)
class Weighed:
    """One explanation with its probability; size and since when with their standard uncertainties (NaN: has none).

    ``cause`` is "as-predicted", "unexplained", "touched" or "command-changed" where ``explanation`` is None.
    ``beside``: the other one, where two are at work together; of "touched", what began while the hand was there.
    """

    cause: str
    explanation: Explanation | None
    probability: float
    size: float
    u_size: float
    at: tuple[float, ...]
    u_at: tuple[float, ...]
    fit: Refit
    beside: "Weighed | None" = None


def weigh(
    forecasted: Forecasted,
    observed: Observed,
    explanations: Sequence[Explanation],
    touched_s: tuple[float, float] | None,
    logged: Forecasted | None = None,
    stopped: Mapping[str, float] | None = None,
) -> tuple[Weighed, ...]:
    """Probabilities of all explanations, likeliest first; together with "as-predicted" and "unexplained" they add to 1.

    Parameters
    ----------
    forecasted : the forecast's match.
    observed : the measured run.
    explanations : those that are thought of.
    touched_s : match times from and until which a hand was seen over the table; adds the cause "touched".
    logged : the same match with the commands as they were logged; adds the cause "command-changed", and every
        explanation then starts from it, so that what a command explains is blamed on nothing else.
    stopped : machines that were seen to stand against something in their way, and how surely; it was seen by their
        outlines, of which the series say nothing, and counts for "blocked" beside them.

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

    def as_given(z: FloatArray) -> Sequence[FloatArray]:
        return play((logged or forecasted).match(z))

    zero = np.zeros(forecasted.numbers)
    plain = as_stated(zero)
    shared = fitter.slopes_of(as_stated, zero, plain, range(forecasted.numbers))
    base = settle(fitter, as_stated, fitter.refit(as_stated, zero, slopes=shared, rounds=6))
    loose = fitter.sum_up(zero, plain, shared, shares=UNEXPLAINED_ERRORS, chances=UNEXPLAINED_CHANCES)
    otherwise = logged is not None and fitter.differ(plain, as_given(zero))
    given, given_slopes = base, shared
    if otherwise:
        given_slopes = fitter.slopes_of(as_given, zero, as_given(zero), range(forecasted.numbers))
        given = settle(fitter, as_given, fitter.refit(as_given, zero, slopes=given_slopes, rounds=6))
    onset = onset_s(fitter, as_given(zero), given_slopes)
    until = RunFitter(observed, Loosened(onset, math.inf, UNEXPLAINED_ERRORS[-1]))
    before = settle(until, as_given, replace(given, z=zero), rounds=BEFORE_ROUNDS)
    searcher = Searcher(logged or forecasted, fitter, play, given_slopes, given, onset_s=onset, before=before)
    rival = given.log_evidence + math.log(AS_PREDICTED_BEFORE * max(len({e.cause for e in explanations}), 1))
    found, refitted = _search(searcher, explanations, rival)
    ends = [one for _, one in found]
    given = _settle(fitter, as_given, given, ends)
    base = settle(fitter, as_stated, base) if otherwise else given
    pairs = []
    best = max([base, given, *(one.fit for _, one in refitted)], key=lambda fit: fit.log_evidence)
    if best.strain > ONE_DOES_NOT_DO:
        pairs = pair_up(searcher, explanations, refitted)
        for explanation, again in part_again(searcher, max(pairs, key=_evidence)) if pairs else ():
            found = [(e, max(one, again, key=_of) if e is explanation else one) for e, one in found]
    causes = len({e.cause for e in explanations})
    # What was seen or logged is no far-fetched explanation: it shares with "as predicted".
    beforehand = AS_PREDICTED_BEFORE / (1 + (touched_s is not None) + otherwise)
    explained = 1.0 - AS_PREDICTED_BEFORE - UNEXPLAINED_BEFORE
    each = math.log((1.0 - TWO_BEFORE) * explained / max(causes, 1))
    each_pair = math.log(TWO_BEFORE * explained / max(len(explanations) * (len(explanations) - 1) / 2, 1))

    def plainly(fit: Refit) -> Found:
        return Found(fit.log_evidence, fit, math.nan, math.nan, (), ())

    def drawn(predict: Predict, fit: Refit) -> Found:
        told = draw(fitter, predict, fit.z, fit.covariance)
        evidence, u = told.agreed(fit.log_evidence)
        return replace(plainly(fit), log_evidence=evidence, u_log_evidence=u)

    out: list[tuple[float, str, Explanation | None, Found]] = [
        (math.log(beforehand), "as-predicted", None, drawn(as_stated, base)),
        (math.log(UNEXPLAINED_BEFORE), "unexplained", None, plainly(_beside(loose, found))),
    ]
    if touched_s is not None:
        alone = plainly(left_alone(observed, touched_s, as_stated, base))
        out.append((math.log(beforehand * (1.0 - STAYS)), "touched", None, alone))
    if otherwise:
        out.append((math.log(beforehand), "command-changed", None, drawn(as_given, given)))
    for explanation, one in found:
        alike = sum(e.cause == explanation.cause for e in explanations)
        seen = log_seen((stopped or {}).get(explanation.machine, 0.0)) if explanation.cause == "blocked" else 0.0
        out.append((each - math.log(alike) + seen, explanation.cause, explanation, one))
    logs = [prior + one.log_evidence for prior, _, _, one in out]
    logs += [each_pair + pair.first.log_evidence for pair in pairs]
    hands = [] if touched_s is None else by_hand(found, touched_s, onset, observed)
    logs += [math.log(beforehand) + hand.log_prior + hand.log_evidence for hand in hands]
    first = len(out) - len(found)
    # What a hand did has the same evidence as what happened by itself, and the same error of it.
    same = [*range(len(out) + len(pairs)), *(first + hand.number for hand in hands)]
    chances = chances_of(logs, [*(one.u_log_evidence for _, _, _, one in out), *[0.0] * len(pairs)], same)
    weighed = [
        Weighed(
            cause, explanation, chance, one.size, one.u_size, one.at, one.u_at, one.fit
        )
        for chance, (_, cause, explanation, one) in zip(chances, out, strict=False)
    ]  # fmt: skip
    for chance, hand in zip(chances[len(out) + len(pairs) :], hands, strict=True):
        did = replace(weighed[first + hand.number], probability=chance)
        nothing = replace(did, size=math.nan, u_size=math.nan, at=(), u_at=())
        weighed.append(replace(nothing, cause="touched", explanation=None, beside=did))
    for chance, pair in zip(chances[len(out) : len(out) + len(pairs)], pairs, strict=True):
        a, b = (
            Weighed(
                told.cause, told, chance, part.size, part.u_size, part.at, part.u_at, part.fit
            )
            for told, part in zip(pair.explanations, (pair.first, pair.second), strict=True)
        )  # fmt: skip
        weighed.append(replace(a, beside=b))
    return tuple(sorted(weighed, key=lambda w: -w.probability))


def chances_of(logs: Sequence[float], u_logs: Sequence[float], same: Sequence[int] | None = None) -> list[float]:
    """Chances from log probabilities that are known to ``u_logs`` (nats): their mean over what those may be.

    ``same``: of each, the number of the error that it has; without it each has its own.
    """
    noise = np.random.default_rng(SEED).standard_normal((CHANCE_DRAWS, len(u_logs))) * np.array(u_logs)
    moved = np.array(logs) + (noise if same is None else noise[:, list(same)])
    told = np.exp(moved - moved.max(axis=1, keepdims=True))
    return [float(p) for p in np.mean(told / told.sum(axis=1, keepdims=True), axis=0)]


def log_seen(probability: float) -> float:
    """What an event that was seen adds (nats) to what brings it about, over a false alarm; none was seen: nothing."""
    return math.log(min(probability, 1.0 - FALSE_ALARM) / FALSE_ALARM) if probability > FALSE_ALARM else 0.0


def _evidence(pair: FoundPair) -> float:
    return pair.first.log_evidence


def _of(found: Found) -> float:
    return found.log_evidence


def _settle(fitter: RunFitter, as_stated: Predict, base: Refit, found: Sequence[Found]) -> Refit:
    """The refit without a change, begun once more from where those ended that seem to be better with one.

    A change of next to nothing is none: what gets further with it only met a better way downhill.
    """
    numbers = len(base.z)
    for one in sorted(found, key=lambda each: -each.log_evidence)[:BEGUN_AGAIN]:
        if one.log_evidence > base.log_evidence:
            slopes = [own[:, :numbers] for own in one.fit.slopes]
            again = fitter.refit(as_stated, one.fit.z[:numbers], slopes=slopes, rounds=6)
            base = max(base, again, key=lambda fit: fit.log_evidence)
    return settle(fitter, as_stated, base)


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


def _search(
    searcher: Searcher, explanations: Sequence[Explanation], rival: float
) -> tuple[list[tuple[Explanation, Found]], list[tuple[Explanation, Found]]]:
    """All explanations looked at and narrowed down; and those that were refitted with all that is free.

    ``rival`` is the log evidence that the best of them must come near to be worth it: what they must have to be as
    likely as "as predicted".
    """
    with ThreadPoolExecutor(2) as pool:
        looks = list(pool.map(searcher.look, explanations))
        for i, ours in enumerate(explanations):
            for j, theirs in enumerate(explanations):
                # The same cause on another side of the machine may be as likely from the same beginning.
                if (theirs.cause, theirs.machine) == (ours.cause, ours.machine):
                    looks[i] = max(looks[i], looks[j], key=lambda look: look.log_evidence)
        most = max((look.log_evidence for look in looks), default=0.0)
        likely = sorted(range(len(looks)), key=lambda i: -looks[i].log_evidence)[:LOOK_MOST]
        likely = [i for i in likely if looks[i].log_evidence > most - LOOK_WITHIN]
        fitted = sorted(range(len(looks)), key=lambda i: -looks[i].fitted_log_evidence)[:LOOK_FITTED]
        likely += [i for i in fitted if i not in likely and math.isfinite(looks[i].fitted_log_evidence)]
        narrowed = list(pool.map(lambda i: searcher.narrow(explanations[i], looks[i]), likely))
        best = max([rival, *(look.log_evidence for look in narrowed)])
        order = sorted(range(len(likely)), key=lambda i: -narrowed[i].log_evidence)[:REFIT_MOST]
        worth = {i for i in order if narrowed[i].log_evidence > best - REFIT_WITHIN} | set(order[:REFIT_LEAST])

        def finish(i: int) -> tuple[Explanation, Found]:
            told = searcher.refit if i in worth else searcher.settle
            return explanations[likely[i]], told(explanations[likely[i]], narrowed[i])

        told = list(pool.map(finish, range(len(likely))))
        best = max([rival, *(found.log_evidence for _, found in told)])
        # What changes nothing is where the plain match is: it has its minimum, and takes no turn from what has not.
        nothing = {i for i in worth if not searcher.tells(*told[i], narrowed[i])}
        nearest = sorted(worth, key=lambda i: (i in nothing, -told[i][1].log_evidence))[:CONVERGED_MOST]

        def converge(i: int) -> tuple[Look, Found]:
            one = told[i][1]
            if one.log_evidence < best - CONVERGE_WITHIN:
                return narrowed[i], one
            return searcher.converge(explanations[likely[i]], narrowed[i], one)

        for i, (look, again) in zip(nearest, pool.map(converge, nearest), strict=True):
            narrowed[i], told[i] = look, (explanations[likely[i]], again)
        sharp, done = list(told), set[int]()

        def sharper(i: int) -> tuple[Explanation, Found]:
            explanation, found = sharp[i]
            return explanation, sharpen(searcher, explanation, narrowed[i], found)

        while True:
            # What was integrated over is often less likely than it seemed: what comes near it then is as well.
            best = max([rival, *(found.log_evidence for _, found in sharp)])
            near = [i for i in worth - done if sharp[i][1].log_evidence > best - SHARPEN_WITHIN]
            near = sorted(near, key=lambda i: -sharp[i][1].log_evidence)[: max(0, SHARPENED_MOST - len(done))]
            if not near:
                break
            for i, better in zip(near, pool.map(sharper, near), strict=True):
                sharp[i] = better
            done |= set(near)
    return sharp, [sharp[i] for i in sorted(worth)]
