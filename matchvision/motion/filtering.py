"""The loops of the state smoother, compiled: a filter forwards and a smoother backwards, for one to three states."""

from collections.abc import Callable
from math import factorial
from typing import Any

import numba
import numpy as np
import numpy.typing as npt
from scipy.linalg import expm

FloatArray = npt.NDArray[np.float64]


def step_matrices(steps: FloatArray, order: int, relax: float = np.inf) -> tuple[FloatArray, FloatArray]:
    """Transition (n, d, d) and unit driving covariance (n, d, d) of the model over time steps.

    Parameters
    ----------
    steps : (n,) float array
    order : int
        Number of states d: white noise, d times integrated.
    relax : float
        Time in which the last state forgets itself, in the unit of the steps; infinite for a pure integral.

    Notes
    -----
    Integrals: F_ij = Δ^(j−i)/(j−i)!, Q_ij = Δ^(2d−1−i−j) / ((d−1−i)! (d−1−j)! (2d−1−i−j)), from ∫ F(s) g gᵀ F(s)ᵀ ds, g
    the last unit vector. With a finite ``relax`` the last state obeys ẋ = −x/relax + noise (for accelerations: R. A.
    Singer, IEEE Trans. Aerospace and Electronic Systems 6 (1970) 473); F and Q then by C. F. Van Loan, IEEE Trans.
    Automatic Control 23 (1978) 395.
    Checked by: tests/derived/test_smoother.py::test_steps_add_up
    """
    steps = np.asarray(steps, dtype=np.float64)
    if np.isfinite(relax):
        rate = np.diag(np.ones(order - 1), 1)
        rate[-1, -1] = -1.0 / relax
        noise = np.zeros((order, order))
        noise[-1, -1] = 1.0
        block = np.block([[-rate, noise], [np.zeros((order, order)), rate.T]])
        # Times come in ticks of the container's clock, so few different steps occur.
        lengths, which = np.unique(np.round(steps, 9), return_inverse=True)
        # Van Loan's exponential grows where the model decays: it is taken over a short step, which is then doubled.
        doublings = max(0, int(np.ceil(np.log2(float(lengths.max()) / relax))))
        whole = expm(block[None] * (lengths * 0.5**doublings)[:, None, None])
        forward = np.swapaxes(whole[:, order:, order:], 1, 2)
        spread = forward @ whole[:, :order, order:]
        for _ in range(doublings):
            spread = forward @ spread @ np.swapaxes(forward, 1, 2) + spread
            forward = forward @ forward
        return np.ascontiguousarray(forward[which]), np.ascontiguousarray(spread[which])
    transition = np.zeros((len(steps), order, order))
    drive = np.zeros((len(steps), order, order))
    for i in range(order):
        for j in range(order):
            if j >= i:
                transition[:, i, j] = steps ** (j - i) / factorial(j - i)
            power = 2 * order - 1 - i - j
            drive[:, i, j] = steps**power / (factorial(order - 1 - i) * factorial(order - 1 - j) * power)
    return transition, drive


def _filter_loops(
    y: FloatArray, r: FloatArray, q: FloatArray, transition: FloatArray, drive: FloatArray, start: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    n, d = len(y), transition.shape[1]
    predicted, predicted_p = np.zeros((n, d)), np.zeros((n, d, d))
    updated, updated_p = np.zeros((n, d)), np.zeros((n, d, d))
    innovation, spread = np.full(n, np.nan), np.full(n, np.nan)
    half = np.zeros((d, d))
    begun = False
    for k in range(n):
        for i in range(d):
            if k == 0:
                predicted_p[0, i, i] = start[i]
                continue
            for j in range(d):
                predicted[k, i] += transition[k - 1, i, j] * updated[k - 1, j]
                half[i, j] = 0.0
                for a in range(d):
                    half[i, j] += transition[k - 1, i, a] * updated_p[k - 1, a, j]
        if k > 0:
            for i in range(d):
                for j in range(d):
                    total = q[k - 1] * drive[k - 1, i, j]
                    for a in range(d):
                        total += half[i, a] * transition[k - 1, j, a]
                    predicted_p[k, i, j] = total
        if not np.isfinite(y[k]):
            updated[k], updated_p[k] = predicted[k], predicted_p[k]
            continue
        if not begun:
            predicted[k, 0] = y[k]
            begun = True
        e = y[k] - predicted[k, 0]
        s = predicted_p[k, 0, 0] + r[k]
        innovation[k], spread[k] = e, s
        for i in range(d):
            gain_i = predicted_p[k, i, 0] / s
            updated[k, i] = predicted[k, i] + gain_i * e
            for j in range(d):
                # Joseph's form, written out for one value: it keeps the covariance positive.
                gain_j = predicted_p[k, j, 0] / s
                p_ij = predicted_p[k, i, j]
                p_0j, p_i0, p_00 = predicted_p[k, 0, j], predicted_p[k, i, 0], predicted_p[k, 0, 0]
                updated_p[k, i, j] = p_ij - gain_i * p_0j - p_i0 * gain_j + gain_i * (p_00 + r[k]) * gain_j
    return predicted, predicted_p, updated, updated_p, innovation, spread


def _invert_loops(matrix: FloatArray, inverse: FloatArray) -> None:
    d = len(matrix)
    work = matrix.copy()
    inverse[:] = np.eye(d)
    for i in range(d):
        pivot = work[i, i]
        for j in range(d):
            work[i, j] /= pivot
            inverse[i, j] /= pivot
        for row in range(d):
            if row != i:
                factor = work[row, i]
                for j in range(d):
                    work[row, j] -= factor * work[i, j]
                    inverse[row, j] -= factor * inverse[i, j]


_invert: Callable[..., Any] = numba.njit(cache=True)(_invert_loops)


def _smooth_loops(
    predicted: FloatArray, predicted_p: FloatArray, updated: FloatArray, updated_p: FloatArray, transition: FloatArray
) -> tuple[FloatArray, FloatArray]:
    n, d = predicted.shape
    x, p = updated.copy(), updated_p.copy()
    inverse, cross, gain, half = np.zeros((d, d)), np.zeros((d, d)), np.zeros((d, d)), np.zeros((d, d))
    for k in range(n - 2, -1, -1):
        # A covariance is its own pivot order; no exchange of rows is needed.
        _invert(predicted_p[k + 1], inverse)
        for i in range(d):
            for j in range(d):
                cross[i, j] = 0.0
                for a in range(d):
                    cross[i, j] += updated_p[k, i, a] * transition[k, j, a]
        for i in range(d):
            for j in range(d):
                gain[i, j] = 0.0
                for a in range(d):
                    gain[i, j] += cross[i, a] * inverse[a, j]
        for i in range(d):
            for j in range(d):
                x[k, i] += gain[i, j] * (x[k + 1, j] - predicted[k + 1, j])
                half[i, j] = 0.0
                for a in range(d):
                    half[i, j] += gain[i, a] * (p[k + 1, a, j] - predicted_p[k + 1, a, j])
        for i in range(d):
            for j in range(i + 1):
                total = 0.5 * (updated_p[k, i, j] + updated_p[k, j, i])
                for a in range(d):
                    total += 0.5 * (half[i, a] * gain[j, a] + half[j, a] * gain[i, a])
                p[k, i, j] = total
                p[k, j, i] = total
    return x, p


run_filter: Callable[..., Any] = numba.njit(cache=True)(_filter_loops)
run_smoother: Callable[..., Any] = numba.njit(cache=True)(_smooth_loops)
