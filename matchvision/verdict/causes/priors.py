"""How likely each explanation is before the run is looked at."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from matchvision.verdict.causes.by_comparison import FALSE_ALARM
from matchvision.verdict.causes.search.explaining import Explanation

#: Beforehand: it went as predicted, something happened that no explanation covers, and the rest for all explanations.
AS_PREDICTED_BEFORE, UNEXPLAINED_BEFORE = 0.5, 0.08
EXPLAINED_BEFORE: Final = 1.0 - AS_PREDICTED_BEFORE - UNEXPLAINED_BEFORE
#: Of what is left for explanations, the part for two together: they are tried only where one does not do.
TWO_BEFORE: Final = 0.1


@dataclass(frozen=True)
class Priors:
    """Log probabilities beforehand.

    Attributes
    ----------
    as_predicted : of "as predicted", and of what was seen or logged, which is no far-fetched explanation and shares
        with it.
    unexplained : of what no explanation covers.
    cause : of each single cause, all machines and variants of it together.
    pair : of each two explanations together.
    alike : how many explanations there are of each cause.
    stopped : machines that were seen to stand against something, and how surely.
    """

    as_predicted: float
    unexplained: float
    cause: float
    pair: float
    alike: Mapping[str, int]
    stopped: Mapping[str, float]

    def among(self, explanation: Explanation) -> float:
        """Of one explanation, among all that are thought of."""
        return self.cause - math.log(self.alike[explanation.cause]) - math.log(EXPLAINED_BEFORE)

    def single(self, explanation: Explanation) -> float:
        """Of one explanation alone, with what was seen of it beside the series."""
        seen = log_seen(self.stopped.get(explanation.machine, 0.0)) if explanation.cause == "blocked" else 0.0
        return math.log(EXPLAINED_BEFORE) + self.among(explanation) + seen

    @property
    def pair_among(self) -> float:
        """Of two explanations together, among all that are thought of."""
        return self.pair - math.log(EXPLAINED_BEFORE)


def priors_of(explanations: Sequence[Explanation], facts: int, stopped: Mapping[str, float] | None) -> Priors:
    """All that is known beforehand; ``facts``: how many causes were seen or logged."""
    count = len(explanations)
    return Priors(
        as_predicted=math.log(AS_PREDICTED_BEFORE / (1 + facts)),
        unexplained=math.log(UNEXPLAINED_BEFORE),
        cause=math.log((1.0 - TWO_BEFORE) * EXPLAINED_BEFORE / max(len({e.cause for e in explanations}), 1)),
        pair=math.log(TWO_BEFORE * EXPLAINED_BEFORE / max(count * (count - 1) / 2, 1)),
        alike=Counter(e.cause for e in explanations),
        stopped=stopped or {},
    )


def log_seen(probability: float) -> float:
    """What an event that was seen adds (nats) to what brings it about, over a false alarm; none was seen: nothing."""
    return math.log(min(probability, 1.0 - FALSE_ALARM) / FALSE_ALARM) if probability > FALSE_ALARM else 0.0
