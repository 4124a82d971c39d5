"""What a computed match gets wrong by itself: how large that may be, and how it goes together over time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor

from matchvision.verdict.observing import Observed

FloatArray = npt.NDArray[np.float64]

#: Sizes of the model's own error, as shares of each series' scale, and how likely each is beforehand. A planar model
#: with dry friction agrees with an independent engine to 2 % to 4 %; the widest stand for something unexplained.
MODEL_ERRORS: Final = (0.01, 0.02, 0.04, 0.08)
MODEL_ERROR_CHANCES: Final = (0.15, 0.35, 0.35, 0.15)
UNEXPLAINED_ERRORS: Final = (0.25, 0.5)
UNEXPLAINED_CHANCES: Final = (0.5, 0.5)
#: A model's error lasts about this long [s] and is an Ornstein–Uhlenbeck process.
ERROR_LASTS_S: Final = 0.5
#: What a model predicts may come this much too early or late [s]: operators and soft parts are no clockwork.
ERROR_IN_TIME_S: Final = 0.03


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
    own: in swings on a sprung rope, or where wheels break loose again and again, early and late come by turns. Of
    the engine's runs that is by far the likelier account (80 and 55 nats in two of them) than one that lasts, which
    takes a swing out of step for a pull of another size.
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
        own = u**2 + (ERROR_IN_TIME_S * rate) ** 2
        covariance = width[:, None] * lasting * width[None, :] + np.diag(own)
        factor = cho_factor(covariance, lower=True)
        factors.append((factor[0], True))
        log_determinant += 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    return Weights(tuple(factors), log_determinant)
