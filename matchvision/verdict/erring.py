"""What a computed match gets wrong by itself: how large that may be, and how it goes together over time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor

from matchvision.arrays import FloatArray
from matchvision.verdict.observing import Observed

#: Sizes of the model's own error, as shares of each series' scale, and how likely each is beforehand. Of 56 runs of an
#: independent engine, refitted with what was true of them, 54 left the least of these and two the next; machines of
#: wood and rubber may be farther from their numbers, so that larger ones are not ruled out.
MODEL_ERRORS: Final = (0.0025, 0.005, 0.01, 0.02, 0.04, 0.08)
MODEL_ERROR_CHANCES: Final = (0.7, 0.15, 0.07, 0.04, 0.025, 0.015)
#: The same of what is left where something else was at work, or the search missed what was: it may be of any size. Of
#: 30 changed runs of the engine, with the true cause left out, what then came first left 1 % to 8 % or more in 20; in
#: two it left as little as a true one does and was clearly before all others.
UNEXPLAINED_ERRORS: Final = (*MODEL_ERRORS, 0.16, 0.32, 0.64)
UNEXPLAINED_CHANCES: Final = (0.05, 0.05, 0.1, 0.15, 0.15, 0.15, 0.15, 0.1, 0.1)
#: The least of them where a throttle is guessed that changes evenly between a few moments: no operator's does.
GUESSED_ERROR: Final = 0.02
#: Two computed runs are told apart by an error of this size.
TOLD_APART: Final = 0.01
#: A model's error lasts about this long [s] and is an Ornstein–Uhlenbeck process.
ERROR_LASTS_S: Final = 0.5
#: A model that is off by a share in size is off in time as well, too early or too late by this many times that share
#: [s]: by 10 ms where it is off by 1 %. Operators and soft parts are no clockwork.
ERROR_IN_TIME_S: Final = 1.0


@dataclass(frozen=True)
class Loosened:
    """A stretch of time [s] in which somebody's hand was in it: the model's error is at least this share there."""

    from_s: float
    until_s: float
    share: float


@dataclass(frozen=True, eq=False)
class Weights:
    """Inverse covariance of one size of the model's error: a factor and log-determinant for each series."""

    factors: tuple[tuple[FloatArray, bool], ...]
    log_determinant: float


def weigh_errors(
    observed: Observed, known: Sequence[npt.NDArray[np.intp]], share: float, loosened: Loosened | None
) -> Weights:
    """Covariance of each series where it is ``known``: measured u, and a model's error that lasts for a while.

    Where the measured series changes fast, a small error in time is a large one in value, and each moment has its
    own: in swings on a sprung rope, or where wheels break loose again and again, early and late come by turns. It goes
    with the size of the model's error: allowed for alike in a model that is nearly right and in one that is not, it
    takes up what tells a wall from a lost drive, which lies in the moments of change.
    """
    factors, log_determinant = [], 0.0
    for series, told in zip(observed.series, known, strict=True):
        t_s, values = observed.t_s[told], series.values[told]
        rate = np.gradient(values, t_s)
        width = np.full(len(told), share * series.scale)
        if loosened is not None:
            inside = (t_s >= loosened.from_s) & (t_s <= loosened.until_s)
            width[inside] = max(share, loosened.share) * series.scale
        lasting = np.exp(-np.abs(t_s[:, None] - t_s[None, :]) / ERROR_LASTS_S)
        u = np.maximum(series.u[told], 1e-3 * series.scale)
        own = u**2 + (share * ERROR_IN_TIME_S * rate) ** 2
        covariance = width[:, None] * lasting * width[None, :] + np.diag(own)
        factor = cho_factor(covariance, lower=True)
        factors.append((factor[0], True))
        log_determinant += 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    return Weights(tuple(factors), log_determinant)
