"""How well levels of driving noise foretell a series, value by value: all levels in one compiled call."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept

#: States of a series: the value, its rate and its acceleration, and after them the noise that goes together.
_STATES: Final = 3
#: Columns of `Scored.steps`: the transition's upper triangle, that of the unit driving covariance, and of the slow
#: noise how much of it stays and the variance of what is new in it.
_UPPER: Final = np.triu_indices(_STATES)
_KEPT, _ADDED, _COLUMNS = 12, 13, 14


@dataclass(frozen=True, eq=False)
class Scored:
    """A series as the kernel takes it: n values, NaN where there are none, and n − 1 steps between them.

    Attributes
    ----------
    y, r : (n,) float arrays
        Data and their variances.
    share : (n,) float array
        How much of the slow noise is in each.
    steps : (n − 1, 14) float array
    start : (4,) float array
        Variances of the states at the first time.
    """

    y: FloatArray
    r: FloatArray
    share: FloatArray
    steps: FloatArray
    start: FloatArray

    def reversed(self) -> "Scored":
        """The same data backwards in time."""
        y, r, share, steps = (np.ascontiguousarray(part[::-1]) for part in (self.y, self.r, self.share, self.steps))
        return Scored(y, r, share, steps, self.start)

    def noisier(self, factor: float) -> "Scored":
        """The same data with more noise."""
        steps = self.steps.copy()
        steps[:, _ADDED] *= factor
        return replace(self, r=self.r * factor, steps=steps)


def pack_series(
    y: FloatArray,
    r: FloatArray,
    look: FloatArray,
    transition: FloatArray,
    drive: FloatArray,
    fixed: FloatArray,
    start: FloatArray,
    order: int,
) -> Scored:
    """A series of one to three states, with slow noise behind them where there are more than ``order``.

    Parameters
    ----------
    look, transition, drive, fixed, start
        As `filtering.add_slow_noise` gives them, ``look`` (n, d).

    Notes
    -----
    States that a model does not have begin as nothing and stay so.
    """
    steps, first = np.zeros((len(transition), _COLUMNS)), np.zeros(_STATES + 1)
    for column, (i, j) in enumerate(zip(*_UPPER, strict=True)):
        if j < order:
            steps[:, column], steps[:, column + 6] = transition[:, i, j], drive[:, i, j]
    first[:order] = start[:order]
    share = np.zeros(len(y))
    if len(start) > order:
        steps[:, _KEPT], steps[:, _ADDED] = transition[:, order, order], fixed[:, order, order]
        share, first[_STATES] = np.ascontiguousarray(look[:, order]), start[order]
    return Scored(y, r, share, steps, first)


def sum_levels(series: Scored, levels: FloatArray, shape: FloatArray, skip: int) -> tuple[FloatArray, FloatArray]:
    """Sums (c,) of squared innovations over their variance, and of the variances' logarithms, for c levels.

    Parameters
    ----------
    levels : (c,) float array
    shape : (n − 1,) float array
        Strength of the driving noise in each step over the level.
    skip : int
        So many of the first values only settle the start and do not count.

    Notes
    -----
    The filter of R. E. Kalman, J. Basic Engineering 82 (1960) 35.
    Checked by: tests/motion/test_scoring.py::test_levels_are_scored_as_the_filter_says
    """
    totals = np.zeros((len(levels), 2))
    _run_scores(series, levels, shape, skip, totals, np.zeros((0, 0)))
    return totals[:, 0], totals[:, 1]


def score_levels(series: Scored, levels: FloatArray, skip: int) -> FloatArray:
    """Log-likelihood (c, n) of each value given those before, for c levels; 0 for the first and for missing ones."""
    scores = np.zeros((len(levels), len(series.y)))
    _run_scores(series, levels, np.ones(len(series.steps)), skip, np.zeros((len(levels), 2)), scores)
    return scores


def _run_scores(
    series: Scored, levels: FloatArray, shape: FloatArray, skip: int, totals: FloatArray, scores: FloatArray
) -> None:
    _kernel(series.y, series.r, series.share, series.steps, levels, shape, series.start, skip, totals, scores)


def _score_loops(
    y: FloatArray,
    r: FloatArray,
    share: FloatArray,
    steps: FloatArray,
    levels: FloatArray,
    shape: FloatArray,
    start: FloatArray,
    skip: int,
    totals: FloatArray,
    scores: FloatArray,
) -> None:
    """Fill ``totals`` (c, 2) and, where it has rows, ``scores`` (c, n).

    Written out for three states, whose transition holds nothing below its diagonal, and slow noise beside them: loops
    over the states take ten times as long.
    """
    for at in range(len(levels)):
        level = levels[at]
        x0, x1, x2, xb = 0.0, 0.0, 0.0, 0.0
        p00, p01, p02, p11, p12, p22 = start[0], 0.0, 0.0, start[1], 0.0, start[2]
        b0, b1, b2, c = 0.0, 0.0, 0.0, start[3]
        number, squares, logs = 0, 0.0, 0.0
        for k in range(len(y)):
            if k > 0:
                f00, f01, f02 = steps[k - 1, 0], steps[k - 1, 1], steps[k - 1, 2]
                f11, f12, f22 = steps[k - 1, 3], steps[k - 1, 4], steps[k - 1, 5]
                keep, q = steps[k - 1, 12], level * shape[k - 1]
                x0 = f00 * x0 + f01 * x1 + f02 * x2
                x1 = f11 * x1 + f12 * x2
                x2 = f22 * x2
                xb = keep * xb
                h00 = f00 * p00 + f01 * p01 + f02 * p02
                h01 = f00 * p01 + f01 * p11 + f02 * p12
                h02 = f00 * p02 + f01 * p12 + f02 * p22
                h11 = f11 * p11 + f12 * p12
                h12 = f11 * p12 + f12 * p22
                p00 = h00 * f00 + h01 * f01 + h02 * f02 + q * steps[k - 1, 6]
                p01 = h01 * f11 + h02 * f12 + q * steps[k - 1, 7]
                p02 = h02 * f22 + q * steps[k - 1, 8]
                p11 = h11 * f11 + h12 * f12 + q * steps[k - 1, 9]
                p12 = h12 * f22 + q * steps[k - 1, 10]
                p22 = f22 * p22 * f22 + q * steps[k - 1, 11]
                b0 = keep * (f00 * b0 + f01 * b1 + f02 * b2)
                b1 = keep * (f11 * b1 + f12 * b2)
                b2 = keep * f22 * b2
                c = keep * keep * c + steps[k - 1, 13]
            if not np.isfinite(y[k]):
                continue
            w = share[k]
            e = y[k] - x0 - w * xb
            if number == 0:
                # The first value says where the first state starts.
                x0 += e
                e = 0.0
            g0, g1, g2, gb = p00 + w * b0, p01 + w * b1, p02 + w * b2, b0 + w * c
            s = r[k] + g0 + w * gb
            part = 1.0 / s
            off = e * part
            x0 += g0 * off
            x1 += g1 * off
            x2 += g2 * off
            xb += gb * off
            p00 -= g0 * g0 * part
            p01 -= g0 * g1 * part
            p02 -= g0 * g2 * part
            p11 -= g1 * g1 * part
            p12 -= g1 * g2 * part
            p22 -= g2 * g2 * part
            b0 -= g0 * gb * part
            b1 -= g1 * gb * part
            b2 -= g2 * gb * part
            c -= gb * gb * part
            number += 1
            if number > skip:
                square, log = e * off, np.log(s)
                squares += square
                logs += log
                if len(scores):
                    scores[at, k] = -0.5 * (log + square)
        totals[at, 0], totals[at, 1] = squares, logs


_kernel: Callable[..., Any] = compile_kept(_score_loops, fastmath={"contract"})
