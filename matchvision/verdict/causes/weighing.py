"""Which explanation of a run is likeliest: each refitted to what was measured, and compared by evidence."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.priors import Priors, priors_of
from matchvision.verdict.causes.refits.erring import UNEXPLAINED_ERRORS, Loosened
from matchvision.verdict.causes.refits.observing import Observed
from matchvision.verdict.causes.refits.onset import onset_s
from matchvision.verdict.causes.refits.playing import Forecasted, player
from matchvision.verdict.causes.refits.refitting import Predict, Refit, RunFitter, log_sum
from matchvision.verdict.causes.refits.settling import SEED, draw, settle
from matchvision.verdict.causes.refits.sharing import with_one_thread_a_product
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import Found
from matchvision.verdict.causes.search.pairing import FoundPair, pair_up, part_again
from matchvision.verdict.causes.search.ranking import Search, search_all, sharpen_near
from matchvision.verdict.causes.search.searching import Searcher
from matchvision.verdict.causes.touching import STAYS, ByHand, by_hand, left_alone

#: From the ends of so many explanations the refit without a change is begun again.
BEGUN_AGAIN: Final = 4
#: Steps of it.
AGAIN: Final = 3
#: Steps towards the numbers that fit best until the run left what the match can give without a change.
BEFORE_ROUNDS: Final = 3
#: Draws over what evidences may be.
CHANCE_DRAWS: Final = 400


@dataclass(frozen=True, eq=False)
class Weighed:
    """One explanation with its probability; size and since when with their standard uncertainties (NaN: has none).

    ``cause`` is "as-predicted", "unexplained", "touched" or "command-changed" where ``explanation`` is None.
    ``beside``: the other one, where two are at work together; of "touched", what began while the hand was there.
    ``ends``: of the size's 95 % interval, where its distribution was walked along.
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
    ends: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True, eq=False)
class _Plain:
    """The match without a change: refitted as stated, ``base``, and as logged, ``given``.

    ``otherwise``: whether what was logged can be told from what was planned; else the two are one. ``onset_s``: when
    the run left what it can give.
    """

    searcher: Searcher
    as_stated: Predict
    as_given: Predict
    base: Refit
    given: Refit
    otherwise: bool
    onset_s: float

    def settled(self, found: Sequence[Found]) -> "_Plain":
        """The same, begun once more from where explanations ended."""
        given = _settle(self.searcher.fitter, self.as_given, self.given, found)
        base = settle(self.searcher.fitter, self.as_stated, self.base) if self.otherwise else given
        return replace(self, base=base, given=given)


@with_one_thread_a_product
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
    plain = _refit_plain(forecasted, observed, logged)
    priors = priors_of(explanations, (touched_s is not None) + plain.otherwise, stopped)
    search = search_all(plain.searcher, explanations, plain.given.log_evidence + priors.as_predicted - priors.cause)
    plain = plain.settled([one for _, one in search.found])
    touching = () if touched_s is None else (left_alone(observed, touched_s, plain.as_stated, plain.base),)
    pairs = _pair_where_one_does_not_do(plain, search, explanations, touching)
    near = [(priors.among(e) + one.log_evidence, one) for e, one in search.found]
    near += [(priors.pair_among + pair.first.log_evidence, pair.first) for pair in pairs]
    loose = beside((plain.base, plain.given), near)
    rivals = [priors.as_predicted + fit.log_evidence for fit in (plain.base, plain.given, *touching)]
    rivals += [priors.pair + pair.first.log_evidence for pair in pairs]
    moved = sharpen_near(plain.searcher, search, max(*rivals, priors.unexplained + loose) - priors.cause)
    plain = replace(plain, given=_settle(plain.searcher.fitter, plain.as_given, plain.given, moved))
    if not plain.otherwise:
        plain = replace(plain, base=plain.given)
    hands = () if touched_s is None else tuple(by_hand(search.found, touched_s, plain.onset_s, observed))
    return _tell(priors, plain, loose, touching, search.found, pairs, hands)


def _refit_plain(forecasted: Forecasted, observed: Observed, logged: Forecasted | None) -> _Plain:
    """The match without a change, refitted as stated and as logged, and what looks for changes from there."""
    least = forecasted.least_error
    fitter = RunFitter(observed, least=least)
    play = player(forecasted, observed)

    def as_stated(z: FloatArray) -> Sequence[FloatArray]:
        return play(forecasted.match(z))

    def as_given(z: FloatArray) -> Sequence[FloatArray]:
        return play((logged or forecasted).match(z))

    zero = np.zeros(forecasted.numbers)
    computed = as_stated(zero)
    shared = fitter.slopes_of(as_stated, zero, computed, range(forecasted.numbers))
    base = _from_zero(fitter, as_stated, shared)
    otherwise = logged is not None and fitter.differ(computed, as_given(zero))
    given, given_slopes = base, shared
    if otherwise:
        given_slopes = fitter.slopes_of(as_given, zero, as_given(zero), range(forecasted.numbers))
        given = _from_zero(fitter, as_given, given_slopes)
    onset = onset_s(fitter, as_given(zero), given_slopes)
    until = RunFitter(observed, Loosened(onset, math.inf, UNEXPLAINED_ERRORS[-1]), least=least)
    before = settle(until, as_given, replace(given, z=zero), rounds=BEFORE_ROUNDS)
    searcher = Searcher(logged or forecasted, fitter, play, given_slopes, given, onset_s=onset, before=before)
    return _Plain(searcher, as_stated, as_given, base, given, otherwise, onset)


def _from_zero(fitter: RunFitter, predict: Predict, slopes: Sequence[FloatArray]) -> Refit:
    """The refit from the stated numbers, by long steps at first and by careful ones: they may end elsewhere."""
    zero = np.zeros(slopes[0].shape[1])
    rough = fitter.refit(predict, zero, slopes=slopes, rounds=6)
    both = (settle(fitter, predict, begin) for begin in (rough, replace(rough, z=zero)))
    return max(both, key=lambda fit: fit.log_evidence)


def _pair_where_one_does_not_do(
    plain: _Plain, search: Search, explanations: Sequence[Explanation], touching: Sequence[Refit]
) -> tuple[FoundPair, ...]:
    """Two causes together, where what the best one leaves is more than the model gets wrong."""
    alone = (plain.base, plain.given, *(search.found[i][1].fit for i in search.refitted))
    best = max(alone, key=lambda fit: fit.log_evidence)
    by_hand_alone = any(fit.log_evidence > best.log_evidence for fit in touching)
    if best.loose_log_evidence <= best.log_evidence or by_hand_alone:
        return ()
    pairs = pair_up(plain.searcher, explanations, [search.found[i] for i in sorted(search.refitted)])
    for explanation, again in part_again(plain.searcher, max(pairs, key=_evidence)) if pairs else ():
        search.better(explanation, again)
    return tuple(pairs)


def _tell(
    priors: Priors,
    plain: _Plain,
    loose: float,
    touching: Sequence[Refit],
    found: Sequence[tuple[Explanation, Found]],
    pairs: Sequence[FoundPair],
    hands: Sequence[ByHand],
) -> tuple[Weighed, ...]:
    """All that was found with its probability, likeliest first."""

    def drawn(predict: Predict, fit: Refit) -> Found:
        told = draw(plain.searcher.fitter, predict, fit.z, fit.covariance)
        evidence, u = told.agreed(fit.log_evidence)
        return replace(_plainly(fit), log_evidence=evidence, u_log_evidence=u)

    # Explanations start from what was logged.
    given = with_nothing(drawn(plain.as_given, plain.given), found)
    base = drawn(plain.as_stated, plain.base) if plain.otherwise else given
    out: list[tuple[float, str, Explanation | None, Found]] = [
        (priors.as_predicted, "as-predicted", None, base),
        (priors.unexplained, "unexplained", None, _plainly(replace(plain.base, log_evidence=loose))),
    ]
    out += [(priors.as_predicted + math.log(1.0 - STAYS), "touched", None, _plainly(alone)) for alone in touching]
    if plain.otherwise:
        out.append((priors.as_predicted, "command-changed", None, given))
    out += [(priors.single(e), e.cause, e, one) for e, one in found]
    logs = [log_prior + one.log_evidence for log_prior, _, _, one in out]
    logs += [priors.pair + pair.first.log_evidence for pair in pairs]
    logs += [priors.as_predicted + hand.log_prior + hand.log_evidence for hand in hands]
    first = len(out) - len(found)
    # What a hand did has the same evidence as what happened by itself, and the same error of it.
    same = [*range(len(out) + len(pairs)), *(first + hand.number for hand in hands)]
    chances = chances_of(logs, [*(one.u_log_evidence for _, _, _, one in out), *[0.0] * len(pairs)], same)
    weighed = [
        _weighed(cause, explanation, chance, one)
        for chance, (_, cause, explanation, one) in zip(chances, out, strict=False)
    ]
    for chance, hand in zip(chances[len(out) + len(pairs) :], hands, strict=True):
        did = replace(weighed[first + hand.number], probability=chance)
        nothing = replace(did, size=math.nan, u_size=math.nan, at=(), u_at=())
        weighed.append(replace(nothing, cause="touched", explanation=None, beside=did))
    for chance, pair in zip(chances[len(out) : len(out) + len(pairs)], pairs, strict=True):
        a, b = (
            _weighed(told.cause, told, chance, part)
            for told, part in zip(pair.explanations, (pair.first, pair.second), strict=True)
        )
        weighed.append(replace(a, beside=b))
    return tuple(sorted(weighed, key=lambda w: -w.probability))


def with_nothing(unchanged: Found, found: Sequence[tuple[Explanation, Found]]) -> Found:
    """The match without a change, as likely as it is with a change whose size may as well be none.

    What the model gets wrong all along is in a size's uncertainty and not in the evidence: a hitch that is found 5 mm
    aside, give or take 6 mm, may make up for the model by many nats, and is none all the same.

    Notes
    -----
    Checked by: tests/verdict/causes/test_weighing.py::test_a_change_that_may_be_none_speaks_for_none
    """
    nothing = [one for explanation, one in found if one.may_be(explanation.none)]
    best = max([unchanged, *nothing], key=lambda one: one.log_evidence)
    return replace(unchanged, log_evidence=best.log_evidence, u_log_evidence=best.u_log_evidence)


def _plainly(fit: Refit) -> Found:
    return Found(fit.log_evidence, fit, math.nan, math.nan, (), ())


def _weighed(cause: str, explanation: Explanation | None, chance: float, one: Found) -> Weighed:
    own = (one.size, one.u_size, one.at, one.u_at, one.fit)
    return Weighed(cause, explanation, chance, *own, ends=one.ends)


def chances_of(logs: Sequence[float], u_logs: Sequence[float], same: Sequence[int] | None = None) -> list[float]:
    """Chances from log probabilities that are known to ``u_logs`` (nats): their mean over what those may be.

    ``same``: of each, the number of the error that it has; without it each has its own.
    """
    noise = np.random.default_rng(SEED).standard_normal((CHANCE_DRAWS, len(u_logs))) * np.array(u_logs)
    moved = np.array(logs) + (noise if same is None else noise[:, list(same)])
    told = np.exp(moved - moved.max(axis=1, keepdims=True))
    return [float(p) for p in np.mean(told / told.sum(axis=1, keepdims=True), axis=0)]


def _evidence(pair: FoundPair) -> float:
    return pair.first.log_evidence


def _settle(fitter: RunFitter, as_stated: Predict, base: Refit, found: Sequence[Found]) -> Refit:
    """The refit without a change, begun once more from where those ended that seem to be better with one.

    A change of next to nothing is none: what gets further with it only met a better way downhill.
    """
    numbers = len(base.z)
    for one in sorted(found, key=lambda each: -each.log_evidence)[:BEGUN_AGAIN]:
        if one.log_evidence > base.log_evidence:
            computed = one.fit.z if one.fit.computed is None else one.fit.computed
            spreads = one.fit.covariance[:numbers, :numbers]
            again = settle(fitter, as_stated, replace(base, z=computed[:numbers], covariance=spreads), rounds=AGAIN)
            base = max(base, again, key=lambda fit: fit.log_evidence)
    return settle(fitter, as_stated, base) if found else base


def beside(forecasts: Sequence[Refit], near: Sequence[tuple[float, Found]]) -> float:
    """Log evidence of the unexplained: a misfit of any size about the forecast, or about one of the causes.

    Parameters
    ----------
    forecasts : the match without a change, refitted.
    near : of each cause its log probability before the run, among causes, times its evidence; and what was found.

    Notes
    -----
    Nobody knows how something unheard of would go; what was found comes as near to it as its misfit says. Each cause
    counts by what it has beforehand, not the nearest one for all: that it comes near by chance is no more likely than
    that it is true.
    Checked by: tests/derived/test_refit_evidence.py::test_a_misfit_beyond_what_the_model_gets_wrong_is_unexplained
    """
    about = [fit.loose_log_evidence - math.log(len(forecasts)) for fit in forecasts]
    causes = [
        told - one.fit.log_evidence + one.fit.loose_log_evidence
        for told, one in near
        if math.isfinite(one.fit.loose_log_evidence)
    ]
    return log_sum([*about, *causes]) - math.log(2.0) if causes else log_sum(about)
