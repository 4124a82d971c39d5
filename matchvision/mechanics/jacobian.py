"""How the rates of a match change with its state, compiled."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.mechanics import layout as at
from matchvision.mechanics.compiling import compiled
from matchvision.mechanics.dynamics import body_rates
from matchvision.mechanics.layout import MatchNumbers
from matchvision.mechanics.pulling import pull_rope

FloatArray = npt.NDArray[np.float64]

#: Change of a pull [N] by which its effect on a body is differenced.
PULL_STEP_N: Final = 1e-3


@compiled
def rates_jacobian(time_s: float, state: FloatArray, match: MatchNumbers) -> FloatArray:
    """Jacobian (20, 20) of `dynamics.state_rates` by forward differences well below the creep speed.

    A body's state moves the other body by the rope's pull alone, whose effect is differenced once.
    """
    n = len(state)
    jacobian = np.zeros((n, n))
    results = np.empty(at.ALL_RESULTS)
    base, moved = np.empty(n), np.empty(n)
    placed, pull, stood, other = (
        np.empty((2, at.PLACED)), np.empty((2, 3)), np.empty((2, at.PLACED)), np.empty((2, 3)),
    )  # fmt: skip
    pull_rope(time_s, state, match, placed, pull, results)
    by_pull = np.zeros((3, n))
    same_everywhere = np.zeros(2, np.bool_)
    for k in range(2):
        if match.bodies[k, at.MASS] <= 0.0:
            continue
        part = results[at.RESULTS_0 + at.RESULTS * k : at.RESULTS_0 + at.RESULTS * (k + 1)]
        mine = slice(at.STATES * k, at.STATES * (k + 1))
        body_rates(time_s, state, k, match, placed[k], pull[k], base, part)
        # On a level table of one surface a body's place matters to the rope alone.
        body = match.bodies[k]
        level = match.stand.shape[1] == 0
        same_everywhere[k] = level and body[at.STRETCH_RATIO] == 1.0 and body[at.WALL_SIDE] == 0.0
        if results[at.TENSION] > 0.0 or results[at.STRETCH] > -1e-6:
            for c in range(3):
                other[:] = pull
                other[k, c] += PULL_STEP_N
                body_rates(time_s, state, k, match, placed[k], other[k], moved, part)
                by_pull[c, mine] = (moved[mine] - base[mine]) / PULL_STEP_N
    shifted = state.copy()
    for i in range(n):
        k = i // at.STATES
        if match.bodies[k, at.MASS] <= 0.0:
            continue
        part = results[at.RESULTS_0 + at.RESULTS * k : at.RESULTS_0 + at.RESULTS * (k + 1)]
        mine, theirs = slice(at.STATES * k, at.STATES * (k + 1)), slice(at.STATES * (1 - k), at.STATES * (2 - k))
        step = 1e-7 if i % at.STATES < 6 else 1e-6
        shifted[i] = state[i] + step
        step = shifted[i] - state[i]
        other[:] = pull
        stood[k] = placed[k]
        if i % at.STATES < 6:
            pull_rope(time_s, shifted, match, stood, other, results)
        if i % at.STATES < 2 and same_everywhere[k]:
            for c in range(3):
                jacobian[mine, i] += by_pull[c, mine] * ((other[k, c] - pull[k, c]) / step)
        else:
            body_rates(time_s, shifted, k, match, stood[k], other[k], moved, part)
            jacobian[mine, i] = (moved[mine] - base[mine]) / step
        for c in range(3):
            change = (other[1 - k, c] - pull[1 - k, c]) / step
            if change != 0.0:
                jacobian[theirs, i] += by_pull[c, theirs] * change
        shifted[i] = state[i]
    return jacobian
