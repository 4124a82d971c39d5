"""What a search for a cause has found so far, and what is added to it: priors of places, the model's own errors."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from matchvision.arrays import FloatArray
from matchvision.uncertainty.rounding import K_95
from matchvision.verdict.causes.refits.refitting import Refit
from matchvision.verdict.causes.search.explaining import Explanation

#: By how much a time or place is narrowed down before it is refitted as a number.
NARROWED: Final = 8.0
#: Precision of the prior that keeps a date or place near where it was narrowed down to while it is refitted: wide,
#: and taken out again.
PLACE_PRECISION: Final = 0.01
#: What the model gets wrong for the whole of a run, as a share of a drive, grip, mass or ratio: its tension agrees with
#: an independent engine to 3 %. The errors that a refit allows for come and go, and would average out.
MODEL_IN_SIZE: Final = 0.03
#: Likewise in every date and place: runs of an independent engine are dated to 13 ms (rms) where the series alone
#: would allow 2 to 10 ms, since what comes early or late does so in all series at once; a wheel meets an edge over
#: millimetres.
MODEL_IN_TIME_S, MODEL_IN_PLACE_M = 0.012, 0.003
#: What is added to a size by its unit: where a rope begins and wheels touch the table is known to millimetres as well.
SIZE_ERRORS: Final[Mapping[str, float]] = {"1": MODEL_IN_SIZE, "m": MODEL_IN_PLACE_M}

#: By which share of itself a load's added drag is off, as no balance tells how a flat base bears on the table along its
#: length: evenly, or more in front the harder it is pulled. Of a base half on the stretch, pulled at a seventh of its
#: length with 0.6 of its weight, the two differ by 15 %.
ON_ITS_BASE: Final = 0.15


@dataclass(frozen=True, eq=False)
class Look:
    """What a look at an explanation gave: log evidence over its whole range, the best fit, and its time or place.

    ``others``: the next best places, from which the search is begun as well. ``tried``: the numbers that were computed
    there, of which the fit's are a step along the slopes. ``fitted_log_evidence``: the same as the first, of looks that
    begin from fitted numbers instead of the stated ones.
    """

    log_evidence: float
    fit: Refit
    at: tuple[float, ...]
    others: tuple["Look", ...] = ()
    tried: FloatArray | None = None
    fitted_log_evidence: float = -math.inf


@dataclass(frozen=True, eq=False)
class Found:
    """A refitted explanation: size and time or place with standard uncertainties (NaN: has no size).

    ``origin``: the time or place from which the fit's own numbers count. ``u_log_evidence``: how well the evidence
    itself is known (nats). ``ends``: of the size's 95 % interval, where its distribution was walked along.
    """

    log_evidence: float
    fit: Refit
    size: float
    u_size: float
    at: tuple[float, ...]
    u_at: tuple[float, ...]
    origin: tuple[float, ...] = ()
    u_log_evidence: float = 0.0
    ends: tuple[float, float] = (math.nan, math.nan)

    def may_be(self, size: float) -> bool:
        """Whether the size's 95 % interval holds another one."""
        low, high = self.ends
        if math.isnan(low):
            low, high = self.size - K_95 * self.u_size, self.size + K_95 * self.u_size
        return low <= size <= high


def jumps(explanation: Explanation) -> bool:
    """Whether it has places, at which a match changes by jumps, instead of dates."""
    return bool(explanation.spacing) and not explanation.dated and explanation.unit != "s"


def is_number(explanation: Explanation) -> bool:
    """Whether it says that one number is other than stated, all along."""
    return explanation.has_size and not explanation.spacing


def model_error(explanation: Explanation, size: float) -> float:
    """What the model gets wrong all along, in a size's unit: of one side's drive twice as much as of both sides'."""
    error = SIZE_ERRORS.get(explanation.unit, 0.0)
    if explanation.cause == "rough-stretch":
        return math.hypot(error, ON_ITS_BASE * size)
    return 2 * error if explanation.detail else error


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
