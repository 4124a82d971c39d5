"""Bends in a straight, noisy course: where something that stood begins to move, with a stated rate of false alarms."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from matchvision.arrays import FloatArray

#: A course without a bend is taken to have one in this share of runs.
FALSE_ALARMS: Final = 0.01
#: Bends that are looked for at most: creep, rest and creep again a few times.
MOST_BENDS: Final = 10
#: Fits are made on no more values than this: longer courses are averaged.
MOST_VALUES: Final = 800
#: No two bends lie nearer to each other than so many values: less is noise's.
APART: Final = 4


@dataclass(frozen=True, eq=False)
class Bends:
    """A continuous course of straight pieces.

    Attributes
    ----------
    at_s, u_at_s : (k,) float arrays
        Times of the bends and their standard uncertainty.
    rate, u_rate : (k + 1,) float arrays
        Slope of each piece [1/s].
    value : (k + 2,) float array
        Fitted value at the beginning, at each bend and at the end.
    sigma : float
        Noise of one independent value.
    """

    at_s: FloatArray
    u_at_s: FloatArray
    rate: FloatArray
    u_rate: FloatArray
    value: FloatArray
    sigma: float


def find_bends(t_s: FloatArray, values: FloatArray) -> Bends:
    """The bends of a course, one after the other, as long as each is surer than `FALSE_ALARMS` allows.

    Parameters
    ----------
    t_s, values : (n,) float arrays without NaN, n >= 10.

    Notes
    -----
    A bend at τ adds a·max(0, t − τ) to the fit. The best τ is kept where its squared gain over the noise exceeds the
    level that noise alone exceeds anywhere in the course with probability `FALSE_ALARMS`: R. B. Davies, "Hypothesis
    testing when a nuisance parameter is present only under the alternative", Biometrika 74 (1987) 33, eq. (3.4), with
    the process's total variation summed over the course. The noise and its tie from value to value come from the
    steps between neighbours and between next neighbours.
    Checked by: tests/grip/test_bends.py::test_false_alarms_are_as_rare_as_stated
    """
    t, y, per_value = _thinned(np.asarray(t_s, dtype=np.float64), np.asarray(values, dtype=np.float64))
    sigma = noise_of(y)
    bends: list[float] = []
    candidates = t[APART:-APART]
    design = np.column_stack([np.ones_like(t), t - t[0]])
    while len(bends) < MOST_BENDS:
        basis, _ = np.linalg.qr(design)
        left = y - basis @ (basis.T @ y)
        hinges = np.maximum(0.0, t[:, None] - candidates[None, :])
        hinges -= basis @ (basis.T @ hinges)
        size = np.linalg.norm(hinges, axis=0)
        # A hinge beside a bend that is already there adds nothing of its own.
        own = size > 1e-6 * (t[-1] - t[0])
        unit = hinges / np.where(own, size, 1.0)
        gain = np.where(own, (unit.T @ left) ** 2 / max(sigma, 1e-12) ** 2, 0.0)
        level = alarm_level(unit[:, own])
        best = int(np.argmax(gain))
        if gain[best] <= level:
            break
        bends = _settle_bends(t, y, [*bends, float(candidates[best])])
        design = np.column_stack([np.ones_like(t), t - t[0], *(np.maximum(0.0, t - at) for at in bends)])
    bends.sort()
    return _describe(t, y, bends, sigma, per_value)


def alarm_level(unit: FloatArray, false_alarms: float = FALSE_ALARMS) -> float:
    """Squared gain that noise alone exceeds anywhere with the given probability; ``unit`` (n, c) are unit vectors."""
    variation = float(np.linalg.norm(np.diff(unit, axis=1), axis=0).sum())

    def excess(level: float) -> float:
        return float(2 * ndtr(-np.sqrt(level)) + variation / np.pi * np.exp(-level / 2) - false_alarms)

    return float(brentq(excess, 1.0, 200.0))


def _thinned(t: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, int]:
    """Means over so many neighbours that no more than `MOST_VALUES` remain."""
    width = -(-len(t) // MOST_VALUES)
    whole = len(t) // width * width
    return t[:whole].reshape(-1, width).mean(axis=1), y[:whole].reshape(-1, width).mean(axis=1), width


def noise_of(y: FloatArray) -> float:
    """Standard deviation of independent values that say as much as these, tied from one to the next, do.

    Steps of size d1 to the next and d2 to the one after it have variances 2σ²(1 − ρ) and 2σ²(1 − ρ²).
    """
    next_one, next_but_one = np.diff(y), y[2:] - y[:-2]
    first, second = (float(np.median(np.abs(d - np.median(d)))) / 0.6745 for d in (next_one, next_but_one))
    if first <= 0:
        return float(np.std(y)) if second > 0 else 1e-12
    rho = float(np.clip((second / first) ** 2 - 1.0, 0.0, 0.9))
    return float(first / np.sqrt(2 * (1 - rho)) * np.sqrt((1 + rho) / (1 - rho)))


def _settle_bends(t: FloatArray, y: FloatArray, bends: list[float]) -> list[float]:
    """Each bend in turn moved to where the whole fits best; twice round."""
    settled = sorted(bends)
    for _ in range(2):
        for k in range(len(settled)):
            low = settled[k - 1] if k else t[0]
            high = settled[k + 1] if k + 1 < len(settled) else t[-1]
            inside = np.flatnonzero((t > low) & (t < high))[APART // 2 : -(APART // 2) or None]
            if len(inside) == 0:
                continue
            settled[k] = float(t[inside[int(np.argmin(_costs(t, y, settled, k, t[inside])))]])
    return settled


def _costs(t: FloatArray, y: FloatArray, bends: list[float], moved: int, places: FloatArray) -> FloatArray:
    """Sum of squares (c,) with one bend at each of some places and the others where they are."""
    others = [at for k, at in enumerate(bends) if k != moved]
    design = np.column_stack([np.ones_like(t), t - t[0], *(np.maximum(0.0, t - at) for at in others)])
    basis, _ = np.linalg.qr(design)
    left = y - basis @ (basis.T @ y)
    hinges = np.maximum(0.0, t[:, None] - places[None, :])
    hinges -= basis @ (basis.T @ hinges)
    size = np.maximum((hinges**2).sum(axis=0), 1e-18)
    return np.asarray((left**2).sum() - (hinges.T @ left) ** 2 / size)


def _describe(t: FloatArray, y: FloatArray, bends: list[float], sigma: float, per_value: int) -> Bends:
    design = np.column_stack([np.ones_like(t), t - t[0], *(np.maximum(0.0, t - at) for at in bends)])
    solution, *_ = np.linalg.lstsq(design, y, rcond=None)
    covariance = sigma**2 * np.linalg.pinv(design.T @ design)
    sums = np.tril(np.ones((len(bends) + 1, len(bends) + 1)))
    slopes = sums @ solution[1:]
    u_slopes = np.sqrt(np.diag(sums @ covariance[1:, 1:] @ sums.T))
    ends = np.array([t[0], *bends, t[-1]])
    at_ends = np.column_stack([np.ones_like(ends), ends - t[0], *(np.maximum(0.0, ends - at) for at in bends)])
    step_s = float(np.median(np.diff(t)))
    u_at = [_u_of_bend(t, y, bends, k, sigma, step_s) for k in range(len(bends))]
    return Bends(np.array(bends), np.array(u_at), slopes, u_slopes, at_ends @ solution, sigma * np.sqrt(per_value))


def _u_of_bend(t: FloatArray, y: FloatArray, bends: list[float], k: int, sigma: float, step_s: float) -> float:
    """Spread of a bend's time: its likelihood over the places around it, the other bends being where they are."""
    low = bends[k - 1] if k else t[0]
    high = bends[k + 1] if k + 1 < len(bends) else t[-1]
    places = t[(t > low) & (t < high)]
    cost = _costs(t, y, bends, k, places) / max(sigma, 1e-12) ** 2
    weight = np.exp(-0.5 * (cost - cost.min()))
    mean = float(np.average(places, weights=weight))
    return float(np.hypot(np.sqrt(np.average((places - mean) ** 2, weights=weight)), step_s / np.sqrt(12)))
