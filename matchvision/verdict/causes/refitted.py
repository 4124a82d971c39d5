"""The forecast's match refitted to the run with its likeliest cause: what the machines turned out to be."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.fitted import FittedMatch
from matchvision.mechanics.machine import MatchModel
from matchvision.records.results import CauseRow, Grounds
from matchvision.records.sheet import Run, StartPose
from matchvision.verdict.causes.reasoning import as_logged, forecast_of, machine_paths
from matchvision.verdict.causes.refits.observing import observe
from matchvision.verdict.causes.refits.onset import onset_s
from matchvision.verdict.causes.refits.playing import Forecasted, player
from matchvision.verdict.causes.refits.refitting import Refit, RunFitter
from matchvision.verdict.causes.refits.sharing import with_one_thread_a_product
from matchvision.verdict.causes.search.explaining import Explanation, explain
from matchvision.verdict.causes.search.finding import NARROWED, Found
from matchvision.verdict.causes.search.searching import Searcher

#: Matches drawn from what the fit leaves open, and the seed of the draw.
SAMPLES: Final = 64
SEED: Final = 20_260_301
#: What leaves more than this share of each quantity is no ground to stand on.
MOST_LEFT: Final = 0.25
#: Below this probability the likeliest cause is no ground for a counterfactual.
LEAST_SURE: Final = 0.5


@with_one_thread_a_product
def fit_match(
    run: Run, grounds: Grounds, starts: Mapping[str, StartPose], causes: Sequence[CauseRow], samples: int = SAMPLES
) -> FittedMatch:
    """The match with its likeliest cause, refitted to what was measured; and samples of what the fit leaves open.

    Raises
    ------
    CannotMeasure
        Where no cause is likely enough, where the likeliest says nothing about the machines (unexplained, a hand over
        the table), where the refit leaves too much, or where the run cannot be computed.

    Notes
    -----
    Samples are drawn from the normal distribution that Laplace's method leaves about the most probable numbers, in
    pairs on either side of it.
    Checked by: tests/remedies/test_in_engine.py::test_what_is_fitted_plays_the_measured_run
    """
    likeliest = max(causes, key=lambda cause: cause.probability, default=None)
    if likeliest is None or likeliest.probability < LEAST_SURE:
        raise CannotMeasure("no cause of the run is more likely than not", do="see the causes for what would tell more")
    until_s = min(grounds.clock.duration_s, float(grounds.clock.match_time(grounds.motion.clip_s)[-1]))
    forecasted = forecast_of(run, starts, until_s)
    if run.commands:
        forecasted = replace(forecasted, run=as_logged(forecasted.run))
    observed = observe(run, grounds.motion, grounds.pull, grounds.clock, forecasted.names, until_s)
    fitter = RunFitter(observed, least=forecasted.least_error)
    play = player(forecasted, observed)
    zero = np.zeros(forecasted.numbers)
    as_planned = likeliest.cause in ("as-predicted", "command-changed")
    unknown = tuple(name for name in forecasted.names if run.sheet.machine[name].unknown)
    ways = machine_paths(grounds.motion, grounds.clock, forecasted.match(zero))
    explanations = [
        e
        for e in explain(forecasted.match(zero), unknown, until_s, *ways)
        if e.cause == likeliest.cause and e.machine == likeliest.machine
    ]
    if not explanations and not as_planned:
        what = f'the likeliest cause, "{likeliest.cause}", says nothing about what the machines can do'
        raise CannotMeasure(what)

    def as_stated(z: FloatArray) -> Sequence[FloatArray]:
        return play(forecasted.match(z))

    shared = fitter.slopes_of(as_stated, zero, as_stated(zero), range(forecasted.numbers))
    plain = fitter.refit(as_stated, zero, slopes=shared, rounds=6)
    if as_planned:
        _refuse_misfit(plain)
        models = tuple(forecasted.match(z) for z in _draw(plain, samples))
        return FittedMatch(forecasted.match(plain.z), models, (), likeliest.cause, "", plain.residual_rms)
    onset = onset_s(fitter, as_stated(zero), shared)
    searcher = Searcher(forecasted, fitter, play, shared, plain, onset_s=onset)
    looks = [(e, searcher.narrow(e, searcher.look(e))) for e in explanations]
    explanation, look = max(looks, key=lambda pair: pair[1].log_evidence)
    _, one = searcher.converge(explanation, look, searcher.refit(explanation, look))
    _refuse_misfit(one.fit)
    drawn = _draw(one.fit, samples)
    return FittedMatch(
        best=_changed(forecasted, explanation, one, one.fit.z),
        samples=tuple(_changed(forecasted, explanation, one, z) for z in drawn),
        without_cause=tuple(forecasted.match(z[: forecasted.numbers]) for z in drawn),
        cause=likeliest.cause,
        machine=likeliest.machine,
        residual_ratio=one.fit.residual_rms,
    )


def _refuse_misfit(fit: Refit) -> None:
    """Raise where what is left of the measured run is as large as what counts as unexplained."""
    if fit.residual_rms > MOST_LEFT:
        left = f"{100 * fit.residual_rms:.0f} %"
        msg = f"the refitted match leaves {left} of each quantity's size unexplained, which is no ground to stand on"
        raise CannotMeasure(msg, do="check the machines' numbers in the sheet")


def _draw(fit: Refit, samples: int) -> FloatArray:
    """Standard normal numbers (samples, p) about a fit, in pairs on either side of it, so that their mean is exact."""
    values, vectors = np.linalg.eigh(fit.covariance)
    half = np.random.default_rng(SEED).standard_normal(((samples + 1) // 2, len(fit.z)))
    both = np.concatenate([half, -half])[:samples]
    return np.asarray(fit.z + both @ (vectors * np.sqrt(np.maximum(values, 0.0))).T, dtype=np.float64)


def _changed(forecasted: Forecasted, explanation: Explanation, one: Found, z: FloatArray) -> MatchModel:
    """The match with the explanation's change, all numbers as in ``z``: stated ones, size, times or places."""
    numbers, sized = forecasted.numbers, int(explanation.has_size)
    steps = np.array([spacing for spacing, _ in explanation.spacing]) / NARROWED
    moved = steps * (z - one.fit.z)[numbers + sized :]
    at = tuple(float(place + step) for place, step in zip(one.at, moved, strict=True))
    return explanation.change(forecasted.match(z[:numbers]), float(z[numbers]) if sized else 0.0, at)
