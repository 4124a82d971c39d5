"""What a computed match gets wrong by itself: how large that may be, and how it goes together over time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor
from scipy.linalg.lapack import dpotri

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.refits.observing import Observed

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
#: The least of them where a throttle is guessed that changes evenly between a few moments, as no operator's does; and
#: where a load is dragged, since no table drags alike everywhere.
ROUGH_ERROR: Final = 0.02
#: Two computed runs are told apart by an error of this size.
TOLD_APART: Final = 0.01
#: A model's error lasts about this long [s] and is an Ornstein–Uhlenbeck process.
ERROR_LASTS_S: Final = 0.5
#: A model that is off by a share in size is off in time as well, too early or too late by this many times that share
#: [s]: by 10 ms where it is off by 1 %. Operators and soft parts are no clockwork.
ERROR_IN_TIME_S: Final = 1.0


#: A machine's speed and its wheels' go wrong alike: of 56 runs of an independent engine, refitted with what was true of
#: them, what is left of the two correlates by this much.
GO_TOGETHER: Final = ("speed", "surface")
GO_ALIKE: Final = 0.6
#: Moments nearer than this are one [s].
SAME_MOMENT_S: Final = 1e-9
#: By which share the rate of a turn may be wrong, and how long [s] it stays so. A machine whose sides slide unlike each
#: other turns as its wheels share their load and as they scrub aside, which changes while it turns. Of 15 runs of an
#: independent engine in which one side's drive was lost, refitted with that, any of 0.2 to 0.4 and of 0.5 to 2 s leaves
#: the rest of the model as good as in straight runs: 100 to 200 nats a run are gained over none.
TURNING_ERROR: Final = 0.3
TURNING_LASTS_S: Final = 1.0


@dataclass(frozen=True)
class Loosened:
    """A stretch of time [s] in which somebody's hand was in it: the model's error is at least this share there."""

    from_s: float
    until_s: float
    share: float


class Part(NamedTuple):
    """Series whose errors go together: their numbers, the inverse of their covariance, and its log-determinant."""

    series: tuple[int, ...]
    inverse: FloatArray
    log_determinant: float


def weigh_errors(
    observed: Observed,
    known: Sequence[npt.NDArray[np.intp]],
    shares: Sequence[float],
    loosened: Loosened | None = None,
    *,
    apart: bool = False,
) -> list[tuple[Part, ...]]:
    """Covariances where the series are ``known``, one entry for each size of the model's error in ``shares``.

    ``apart``: every series by itself, which is quicker.

    Each series has its measured u and the model's error, which lasts for a while. A machine's speed and its wheels' are
    wrong together. Where the measured series changes fast, a small error in time is a large one in value, and each
    moment has its own: in swings on a sprung rope, or where wheels break loose again and again, early and late come by
    turns. It goes with the size of the model's error: allowed for alike in a model that is nearly right and in one that
    is not, it takes up what tells a wall from a lost drive, which lies in the moments of change. A machine that turns
    does so at a rate that is known to `TURNING_ERROR` only: see `turning_error`.
    """
    parts = [(i,) for i in range(len(observed.series))] if apart else _together(observed)
    turning = [None if apart else turning_error(observed, known, part) for part in parts]
    return [
        tuple(
            _weigh_part(observed, known, part, share, loosened, turns)
            for part, turns in zip(parts, turning, strict=True)
        )
        for share in shares
    ]


def _together(observed: Observed) -> list[tuple[int, ...]]:
    """Numbers of the series of each machine, and of the rope."""
    names = list(dict.fromkeys(series.machine for series in observed.series))
    return [tuple(i for i, series in enumerate(observed.series) if series.machine == name) for name in names]


def _weigh_part(
    observed: Observed,
    known: Sequence[npt.NDArray[np.intp]],
    part: tuple[int, ...],
    share: float,
    loosened: Loosened | None,
    turning: FloatArray | None,
) -> Part:
    """Inverse covariance of the series of one part."""
    series, told = [observed.series[i] for i in part], [known[i] for i in part]
    whose = np.repeat(np.arange(len(part)), [len(k) for k in told])
    t_s = np.concatenate([observed.t_s[k] for k in told])
    width = np.concatenate([np.full(len(k), share * one.scale) for one, k in zip(series, told, strict=True)])
    if loosened is not None:
        inside = (t_s >= loosened.from_s) & (t_s <= loosened.until_s)
        width[inside] *= max(share, loosened.share) / share
    rate = np.concatenate([np.gradient(one.values[k], observed.t_s[k]) for one, k in zip(series, told, strict=True)])
    u = np.concatenate([np.maximum(one.u[k], 1e-3 * one.scale) for one, k in zip(series, told, strict=True)])
    goes = np.array([one.what in GO_TOGETHER for one in series])[whose]
    alike = np.where(whose[:, None] == whose[None, :], 1.0, GO_ALIKE * (goes[:, None] & goes[None, :]))
    apart_s = np.abs(t_s[:, None] - t_s[None, :])
    late = share * ERROR_IN_TIME_S * rate
    covariance = width[:, None] * np.exp(-apart_s / ERROR_LASTS_S) * width[None, :]
    covariance += np.where(apart_s < SAME_MOMENT_S, late[:, None] * late[None, :], 0.0)
    covariance *= alike
    if turning is not None:
        covariance += turning
    covariance[np.diag_indices(len(t_s))] += u**2
    factor, _ = cho_factor(covariance, lower=True)
    below = np.tril(dpotri(factor, lower=1)[0])
    inverse = below + np.tril(below, -1).T
    return Part(part, inverse, 2.0 * float(np.sum(np.log(np.diag(factor)))))


def turning_error(
    observed: Observed, known: Sequence[npt.NDArray[np.intp]], part: tuple[int, ...]
) -> FloatArray | None:
    """Covariance of what is wrong about a part's turning; None where no heading was measured.

    Notes
    -----
    Of a rate of turning ω that is wrong by a share η(t), an Ornstein-Uhlenbeck process of the standard deviation
    `TURNING_ERROR`, the heading is wrong by ∫ η ω dt and the speed of a wheel that stands y to the left by −y η ω.
    """
    headings = [i for i in part if observed.series[i].what == "heading"]
    if not headings:
        return None
    series, told = observed.series[headings[0]], known[headings[0]]
    heading_deg = np.interp(observed.t_s, observed.t_s[told], series.values[told])
    rate_rad_s = np.deg2rad(np.gradient(heading_deg, observed.t_s))
    apart_s = np.abs(observed.t_s[:, None] - observed.t_s[None, :])
    shares = TURNING_ERROR**2 * np.exp(-apart_s / TURNING_LASTS_S)
    rows = []
    for i in part:
        one = observed.series[i]
        if one.what == "heading":
            until = np.tri(len(observed.t_s)) - 0.5 * np.eye(len(observed.t_s))
            effect = np.rad2deg(until * rate_rad_s[None, :] * observed.step_s)
        else:
            effect = np.diag(-one.aside_m * rate_rad_s)
        rows.append(effect[known[i]])
    by_share = np.concatenate(rows)
    return np.asarray(by_share @ shares @ by_share.T)
