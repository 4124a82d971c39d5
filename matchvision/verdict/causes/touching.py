"""What a hand that was seen over the table may have done: anything while it was there, or one thing that stays."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np
from scipy.special import ndtr

from matchvision.verdict.causes.refits.erring import MODEL_ERROR_CHANCES, MODEL_ERRORS, Loosened
from matchvision.verdict.causes.refits.observing import Observed
from matchvision.verdict.causes.refits.refitting import Predict, Refit, RunFitter, log_sum
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import Found

#: A hand moves things by these shares of their size, as likely by any of them; what it set going lasts so long [s].
TOUCHED_ERRORS: Final = (0.0, 0.08, 0.25, 0.8)
HAND_LASTS_S: Final = 0.3
#: Of a hand's share beforehand, the part for one thing that began while it was there and stays.
STAYS: Final = 0.5
#: What has no date of its own began where the run left the forecast: a hand may stand in the way as well.
BEGAN_AT_ONSET: Final = ("blocked",)


class ByHand(NamedTuple):
    """An explanation that began while a hand was there: its number, and log prior and evidence beside the hand's."""

    number: int
    log_prior: float
    log_evidence: float


def by_hand(
    found: Sequence[tuple[Explanation, Found]], touched_s: tuple[float, float], onset_s: float, observed: Observed
) -> list[ByHand]:
    """What began while a hand was over the table, as the hand's doing.

    Parameters
    ----------
    found : explanations as refitted.
    touched_s : match times from and until which the hand was seen.
    onset_s : when the run left what the match can give without a change.
    observed : the measured run.

    Notes
    -----
    That a change of its own begins just then is a coincidence: its date is as likely anywhere in the run. Of what the
    hand did it is even over the time for which the hand was there, so the same fit is the likelier by as much as that
    time is shorter than the run, and by as much as a hand that was seen is less far-fetched than a change unheard of.
    Checked by: tests/derived/test_refit_evidence.py::test_what_began_under_a_hand_is_likelier_by_the_time_it_was_there
    """
    duration_s = float(observed.t_s[-1]) + observed.step_s / 2
    begin_s, end_s = max(touched_s[0], 0.0), min(touched_s[1], duration_s)
    if not math.isfinite(end_s):
        end_s = duration_s
    lasted_s = max(end_s - begin_s, observed.step_s)
    may = [n for n, (explanation, _) in enumerate(found) if explanation.dated or explanation.cause in BEGAN_AT_ONSET]
    causes = [found[n][0].cause for n in may]
    out = []
    for n in may:
        explanation, one = found[n]
        at_s, u_s = (one.at[0], one.u_at[0]) if explanation.dated else (onset_s, observed.step_s)
        within = float(ndtr((end_s - at_s) / u_s) - ndtr((begin_s - at_s) / u_s))
        if within > 0.0:
            log_prior = math.log(STAYS / len(set(causes)) / causes.count(explanation.cause))
            out.append(ByHand(n, log_prior, one.log_evidence + math.log(within * duration_s / lasted_s)))
    return out


def left_alone(observed: Observed, touched_s: tuple[float, float], as_stated: Predict, base: Refit) -> Refit:
    """The forecast, left alone by how much a hand may move things: while it was there, or from then on.

    How much it moved one thing says nothing of another: each series has its own share, all of them as likely.
    """
    begin_s, end_s = touched_s
    told = []
    for until_s in (end_s + HAND_LASTS_S if math.isfinite(end_s) else math.inf, math.inf):
        fitters = [RunFitter(observed, Loosened(begin_s, until_s, share)) for share in TOUCHED_ERRORS]
        widest = fitters[-1]
        fit = widest.refit(as_stated, base.z, slopes=base.slopes, rounds=3, anew=0)
        residuals = widest.residuals(as_stated(fit.z))
        logs = [
            math.log(chance)
            + sum(
                log_sum(list(each)) - math.log(len(fitters))
                for each in np.transpose([fitter.log_densities(residuals, share) for fitter in fitters])
            )
            for share, chance in zip(MODEL_ERRORS, MODEL_ERROR_CHANCES, strict=True)
        ]
        laplace = 0.5 * float(np.linalg.slogdet(fit.covariance)[1]) - 0.5 * float(fit.z @ fit.z)
        told.append(replace(fit, log_evidence=log_sum(logs) + laplace))
    best = max(told, key=lambda fit: fit.log_evidence)
    return replace(best, log_evidence=log_sum([fit.log_evidence for fit in told]) - math.log(len(told)))
