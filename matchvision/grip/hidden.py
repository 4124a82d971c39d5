"""A hidden state that changes at known rates, seen through likelihoods: forward and backward over the frames."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import expm

from matchvision.arrays import FloatArray
from matchvision.grip.intervals import typical_step_s

#: Steps that differ by less than this share one transition matrix [s].
SAME_STEP_S: Final = 1e-4
#: No state is ruled out by one frame alone: wild values occur.
LEAST_LIKELIHOOD: Final = 1e-6
#: Smoothed values are tied to their neighbours over no longer than this: the smoother's own memory [s].
LONGEST_TIE_S: Final = 0.06


@dataclass(frozen=True, eq=False)
class Chain:
    """What all frames together say about the state.

    Attributes
    ----------
    chance : (n, s) float array
        Probability of each state in each frame.
    joint : (n − 1, s, s) float array
        Probability of each pair of states in neighbouring frames.
    """

    chance: FloatArray
    joint: FloatArray

    def enters(self, states: Sequence[int]) -> FloatArray:
        """Probability (n − 1,) of coming into ``states`` from outside, between neighbouring frames."""
        inside = np.zeros(self.chance.shape[1], dtype=np.bool_)
        inside[list(states)] = True
        return np.asarray(self.joint[:, ~inside][:, :, inside].sum(axis=(1, 2)))


def forward_backward(likelihood: FloatArray, real_s: FloatArray, rates_per_s: FloatArray) -> Chain:
    """Probabilities of a hidden state in each frame, from all frames.

    Parameters
    ----------
    likelihood : (n, s) float array
        How well each state explains each frame, up to a factor a frame; ones where nothing was seen.
    real_s : (n,) float array
        Growing times [s].
    rates_per_s : (s, s) float array
        How often a state goes over to another one [1/s]; the diagonal is not read.

    Notes
    -----
    L. R. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77 (1989) 257, eqs. (19)–(27) and (37), scaled in
    each frame; transition over a step dt is exp(Q dt), so that dropped frames and odd steps need no care. All states
    are as probable at the first frame.
    Checked by: tests/grip/test_hidden.py::test_small_chain_by_summing_over_all_paths
    """
    n, s = likelihood.shape
    seen = np.maximum(likelihood / likelihood.max(axis=1, keepdims=True), LEAST_LIKELIHOOD)
    generator = np.array(rates_per_s, dtype=np.float64)
    np.fill_diagonal(generator, 0.0)
    np.fill_diagonal(generator, -generator.sum(axis=1))
    known: dict[int, FloatArray] = {}
    steps = []
    for step_s in np.diff(real_s):
        key = round(float(step_s) / SAME_STEP_S)
        if key not in known:
            known[key] = np.asarray(expm(generator * key * SAME_STEP_S))
        steps.append(known[key])
    ahead, behind = np.empty((n, s)), np.ones((n, s))
    ahead[0] = seen[0] / seen[0].sum()
    for k in range(1, n):
        now = (ahead[k - 1] @ steps[k - 1]) * seen[k]
        ahead[k] = now / now.sum()
    for k in range(n - 2, -1, -1):
        then = steps[k] @ (seen[k + 1] * behind[k + 1])
        behind[k] = then / then.max()
    chance = ahead * behind
    chance /= chance.sum(axis=1, keepdims=True)
    joint = np.empty((n - 1, s, s))
    for k in range(n - 1):
        pair = ahead[k][:, None] * steps[k] * (seen[k + 1] * behind[k + 1])[None, :]
        joint[k] = pair / pair.sum()
    return Chain(chance, joint)


def tied_frames(values: FloatArray, u_values: FloatArray, real_s: FloatArray) -> float:
    """How many neighbouring frames of a smoothed series say no more than one independent frame would.

    Notes
    -----
    For errors with correlation ρ from frame to frame it is (1 + ρ)/(1 − ρ); ρ from the middle size of the steps, whose
    variance is 2 u² (1 − ρ), within the smoother's memory.
    Checked by: tests/grip/test_hidden.py::test_tied_frames_count_once
    """
    step_s = typical_step_s(real_s)
    most = max(1.0, LONGEST_TIE_S / step_s) if step_s > 0 else 1.0
    steps, u = np.abs(np.diff(values)), u_values[1:]
    known = np.isfinite(steps) & np.isfinite(u) & (u > 0)
    if not known.any():
        return most
    # The middle size of normal steps is 0.6745 of their standard deviation.
    rho = 1.0 - float(np.median(steps[known] / u[known]) / 0.6745) ** 2 / 2
    rho = float(np.clip(rho, 0.0, 0.99))
    return float(np.clip((1 + rho) / (1 - rho), 1.0, most))


def date_entry(chain: Chain, states: Sequence[int], real_s: FloatArray, first: int) -> tuple[float, float]:
    """When the state came into ``states`` about frame ``first`` [s], and the standard uncertainty of that.

    Mean and spread of the posterior time of entry, between the last frame that is surely outside and the first that is
    surely inside, and the frames' distance (rectangular).

    Notes
    -----
    Checked by: tests/grip/test_hidden.py::test_entry_is_dated_with_its_spread
    """
    step_s = typical_step_s(real_s)
    low, high = entry_window(chain, states, first)
    weight = chain.enters(states)[low:high]
    if low == high or weight.sum() <= 0:
        return float(real_s[first]), step_s / np.sqrt(12)
    middle = 0.5 * (real_s[low:high] + real_s[low + 1 : high + 1])
    at_s = float(np.average(middle, weights=weight))
    spread_s = float(np.sqrt(np.average((middle - at_s) ** 2, weights=weight)))
    return at_s, float(np.hypot(spread_s, step_s / np.sqrt(12)))


def entry_window(chain: Chain, states: Sequence[int], first: int) -> tuple[int, int]:
    """Last frame that is surely outside ``states`` and first one that is surely inside, about frame ``first``."""
    inside = chain.chance[:, list(states)].sum(axis=1)
    low = _walk(inside, first, -1)
    high = first + 1 if inside[first] >= 0.98 else _walk(1.0 - inside, first, 1)
    return low, min(max(high, low + 1), len(inside) - 1)


def _walk(chance: FloatArray, first: int, step: int) -> int:
    """The first frame from ``first`` on in which the chance is below 2 %.

    If it rises beyond a half again before it gets so low, that is another change: the frame where it was least.
    """
    at = least = first
    while 0 <= at + step < len(chance) and chance[at] > 0.02:
        at += step
        if chance[at] < chance[least]:
            least = at
        elif chance[least] < 0.5 < chance[at]:
            return least
    return at
