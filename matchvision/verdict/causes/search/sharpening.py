"""What was found for an explanation with its size, date and places integrated over instead of by curvature."""

import math
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.uncertainty.rounding import K_95
from matchvision.verdict.causes.refits.profiling import BETTER_NATS, Profile, profile
from matchvision.verdict.causes.refits.settling import draw, known_better, settle
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import NARROWED, Found, Look, evenly, model_error
from matchvision.verdict.causes.search.searching import Searcher

#: How often a walk over sizes and dates may begin anew from a better place.
BEGINNINGS: Final = 2
#: How far a size is walked [standard deviations of its prior].
FARTHEST_SIZE: Final = 4.0


def sharpen(searcher: Searcher, explanation: Explanation, look: Look, found: Found) -> Found:
    """What was found with its size, date and places walked along, one after the other.

    Where a better place is met on the way, it begins anew from there. The evidence is that of draws from what was
    found; where they do not settle down, it is that of quadrature and Laplace's method, told with what it is good to.
    """
    fitter, numbers, sized = searcher.fitter, searcher.forecasted.numbers, int(explanation.has_size)
    steps = [spacing / NARROWED for spacing, _ in explanation.spacing]
    lows, highs = searcher.ends(explanation, look)
    limits = [*[(-FARTHEST_SIZE, FARTHEST_SIZE)] * sized, *zip(lows, highs, strict=True)]
    changed, precision = searcher.freed(explanation, look)
    fit = found.fit
    walks: list[Profile] = []
    for beginning in range(BEGINNINGS):
        walks = []
        for k, limit in enumerate(limits):
            walk = profile(fitter, changed, fit, numbers + k, prior=k < sized, limit=limit, precision=precision)
            walks.append(walk)
            if walk.gained > BETTER_NATS and beginning < BEGINNINGS - 1:
                fit = settle(fitter, changed, walk.best, precision)
                break
        else:
            break
    size, u_size, size_ends = math.nan, math.nan, (math.nan, math.nan)
    if sized:
        sizes = np.array([explanation.size_of(v) for v in walks[0].values])
        size, u_size = walks[0].moments(sizes)
        low, high = walks[0].ends(sizes)
        wrong = K_95 * model_error(explanation, size)
        size_ends = size - math.hypot(size - low, wrong), size + math.hypot(high - size, wrong)
        u_size = math.hypot(u_size, model_error(explanation, size))
    places = [
        walk.moments(searcher.not_before(explanation, centre + step * walk.values))
        for centre, step, walk in zip(look.at, steps, walks[sized:], strict=True)
    ]
    evidences = [w.log_evidence + evenly(explanation, fit.z, walked=k - sized) for k, w in enumerate(walks)]
    centre, covariance = fit.z, fit.covariance
    for k, walk in enumerate(walks):
        centre, covariance = known_better(centre, covariance, numbers + k, *walk.moments(walk.values))

    def more(z: FloatArray) -> float:
        """What a draw's prior gains where dates and places are evenly likely over their range, and none beyond it."""
        inside = all(low <= t <= high for t, low, high in zip(z[numbers + sized :], lows, highs, strict=True))
        return evenly(explanation, z) if inside else -math.inf

    drawn = draw(fitter, changed, centre, covariance, precision, more=more)
    evidence, u_evidence = drawn.agreed(float(np.mean(evidences)))
    at, spreads = tuple(a for a, _ in places), searcher.lasting(explanation, tuple(u for _, u in places))
    return Found(evidence, fit, size, u_size, at, spreads, look.at, u_evidence, size_ends)
