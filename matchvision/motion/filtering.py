"""The loops of the state smoother, compiled: a filter forwards and a smoother backwards, for a few states."""

from collections.abc import Callable
from math import factorial
from typing import Any

import numpy as np
from scipy.linalg import expm

from matchvision.arrays import FloatArray, IntArray
from matchvision.compiling import compile_kept


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


def add_slow_noise(
    transition: FloatArray, drive: FloatArray, start: FloatArray, steps_s: FloatArray, u: float, memory_s: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """A model (n, d, d) with one state more: noise of the data that forgets itself slowly.

    Returns
    -------
    look : (d,) or (d + 1,) float array
        What the data show: the first state, and the noise.
    transition, drive, fixed, start
        The model's, and the noise's own driving covariance, which has nothing to do with the model's.

    Notes
    -----
    An Ornstein–Uhlenbeck process: b⁺ = e b + w with e = exp(−Δ/memory) and w of variance u² (1 − e²).
    Checked by: tests/derived/test_smoother.py::test_slow_noise_is_not_taken_for_motion
    """
    d = len(start)
    if u <= 0:
        return np.eye(d)[0], transition, drive, np.zeros_like(drive), start
    keep = np.exp(-steps_s / memory_s)
    larger = [np.zeros((len(steps_s), d + 1, d + 1)) for _ in range(3)]
    larger[0][:, :d, :d], larger[1][:, :d, :d] = transition, drive
    larger[0][:, d, d], larger[2][:, d, d] = keep, u**2 * (1 - keep**2)
    look = np.zeros(d + 1)
    look[0] = look[d] = 1.0
    return look, larger[0], larger[1], larger[2], np.append(start, u**2)


def _filter_loops(
    y: FloatArray,
    r: FloatArray,
    look: FloatArray,
    entry: IntArray,
    transition: FloatArray,
    drive: FloatArray,
    start: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    (n, m), d = y.shape, transition.shape[1]
    predicted, predicted_p = np.zeros((n, d)), np.zeros((n, d, d))
    updated, updated_p = np.zeros((n, d)), np.zeros((n, d, d))
    innovation, spread = np.full((n, m), np.nan), np.full((n, m), np.nan)
    half, seen = np.zeros((d, d)), np.zeros(d)
    begun = np.zeros(m, dtype=np.bool_)
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
                    total = drive[k - 1, i, j]
                    for a in range(d):
                        total += half[i, a] * transition[k - 1, j, a]
                    predicted_p[k, i, j] = total
        updated[k], updated_p[k] = predicted[k], predicted_p[k]
        for c in range(m):
            if not np.isfinite(y[k, c]):
                continue
            e = y[k, c]
            for i in range(d):
                e -= look[k, c, i] * updated[k, i]
            if not begun[c]:
                # A channel's first value says where its own state starts.
                begun[c] = True
                predicted[k, entry[c]] += e
                updated[k, entry[c]] += e
                e = 0.0
            s = r[k, c]
            for i in range(d):
                seen[i] = 0.0
                for j in range(d):
                    seen[i] += updated_p[k, i, j] * look[k, c, j]
            for i in range(d):
                s += look[k, c, i] * seen[i]
            innovation[k, c], spread[k, c] = e, s
            for i in range(d):
                updated[k, i] += seen[i] / s * e
                for j in range(d):
                    updated_p[k, i, j] -= seen[i] * seen[j] / s
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


invert: Callable[..., Any] = compile_kept(_invert_loops)


def _gain_loops(
    updated_p: FloatArray,
    predicted_p: FloatArray,
    transition: FloatArray,
    inverse: FloatArray,
    cross: FloatArray,
    gain: FloatArray,
) -> None:
    """How much of what the next state turns out to be goes back to this one; ``cross`` is what they share."""
    d = len(updated_p)
    # A covariance is its own pivot order; no exchange of rows is needed.
    invert(predicted_p, inverse)
    for i in range(d):
        for j in range(d):
            cross[i, j] = 0.0
            for a in range(d):
                cross[i, j] += updated_p[i, a] * transition[j, a]
    for i in range(d):
        for j in range(d):
            gain[i, j] = 0.0
            for a in range(d):
                gain[i, j] += cross[i, a] * inverse[a, j]


gain_back: Callable[..., Any] = compile_kept(_gain_loops)


def _smooth_loops(
    predicted: FloatArray, predicted_p: FloatArray, updated: FloatArray, updated_p: FloatArray, transition: FloatArray
) -> tuple[FloatArray, FloatArray]:
    n, d = predicted.shape
    x, p = updated.copy(), updated_p.copy()
    inverse, cross, gain, half = np.zeros((d, d)), np.zeros((d, d)), np.zeros((d, d)), np.zeros((d, d))
    for k in range(n - 2, -1, -1):
        gain_back(updated_p[k], predicted_p[k + 1], transition[k], inverse, cross, gain)
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


run_channels: Callable[..., Any] = compile_kept(_filter_loops)
run_smoother: Callable[..., Any] = compile_kept(_smooth_loops)


def run_filter(
    y: FloatArray,
    r: FloatArray,
    q: FloatArray,
    transition: FloatArray,
    drive: FloatArray,
    start: FloatArray,
    look: FloatArray | None = None,
    fixed: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Filter one series.

    Parameters
    ----------
    y, r : (n,) float arrays
        Data, NaN where there are none, and their variances.
    q : (n − 1,) float array
        Strength of the driving noise in each step.
    transition, drive : (n − 1, d, d) float arrays
        As from `step_matrices`.
    start : (d,) float array
        Variances of the states at the first time.
    look : (d,) or (n, d) float array, optional
        What the data show of the states, throughout or in each frame; without it the first.
    fixed : (n − 1, d, d) float array, optional
        Driving covariance on top, whatever ``q`` is.

    Returns
    -------
    tuple
        Predicted states (n, d) and covariances (n, d, d), updated ones, innovations (n,) and their variances.

    Notes
    -----
    R. E. Kalman, J. Basic Engineering 82 (1960) 35. The first value is where the first state starts.
    Checked by: tests/published/test_state_smoother.py::test_nile_steady_variance
    """
    whole = q[:, None, None] * drive + (0.0 if fixed is None else fixed)
    shown = np.broadcast_to(np.eye(transition.shape[1])[0] if look is None else look, (len(y), transition.shape[1]))
    entry = np.zeros(1, dtype=np.int64)
    each = np.ascontiguousarray(shown[:, None])
    *states, innovation, spread = run_channels(y[:, None], r[:, None], each, entry, transition, whole, start)
    return (*states, innovation[:, 0], spread[:, 0])
