"""Steps through a match, compiled: states and transitions for one sample of many."""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.compiling import compiled
from matchvision.mechanics.dynamics import make_room, state_rates
from matchvision.mechanics.elimination import factor_in_place, solve_factored
from matchvision.mechanics.jacobian import rates_jacobian
from matchvision.mechanics.layout import MatchNumbers
from matchvision.mechanics.placing import slip_speed_m_s

#: Steps after which a match is given up, and the step [s] that is too short to go on with.
MOST_STEPS: Final = 200_000
SHORTEST_S: Final = 1e-11
#: Transitions that are kept of a match.
MOST_TRANSITIONS: Final = 256
#: A step is looked through for transitions at this many places.
LOOKS: Final = 4


@compiled
def _between(part: float, h: float, before: FloatArray, rate_before: FloatArray, after: FloatArray,
             rate_after: FloatArray, out: FloatArray) -> None:  # fmt: skip
    """State at a part of a step: cubic Hermite."""
    p, q = part, 1.0 - part
    for i in range(len(out)):
        out[i] = (
            (1.0 + 2.0 * p) * q * q * before[i] + p * q * q * h * rate_before[i]
            + p * p * (3.0 - 2.0 * p) * after[i] - p * p * q * h * rate_after[i]
        )  # fmt: skip


@compiled
def _excess(time_s: float, state: FloatArray, k: int, match: MatchNumbers, threshold: float) -> float:
    return abs(slip_speed_m_s(time_s, state, k, match)) - threshold


@compiled
def step_through(
    state: FloatArray, times_s: FloatArray, stops_s: FloatArray, match: MatchNumbers, relative: float,
    absolute: FloatArray, longest_s: float, slips_at_m_s: float,
) -> tuple[FloatArray, int, FloatArray]:  # fmt: skip
    """States (k, 20) at ``times_s`` (k,) from ``state`` at the first of them, and the number of steps (−1: gave up).

    A linearly implicit method of order 2 with error control that stays stable however stiff the grip. It lands on each
    of ``stops_s`` (ascending), where something jumps. Third: transitions (n, 3), the time at which a body's slip speed
    passes ``slips_at_m_s``, the body, and 1 upwards or 0 downwards.

    Notes
    -----
    L. F. Shampine and M. W. Reichelt, "The MATLAB ODE Suite", SIAM J. Sci. Comput. 18 (1997) 1, section 3, the modified
    Rosenbrock pair of orders 2 and 3. Between steps: cubic Hermite. Transitions are looked for at four places of every
    step and bisected: they do not depend on ``times_s``.
    Checked by: tests/mechanics/test_match.py::test_quick_steps_agree_with_scipy
    """
    n = len(state)
    d, e32 = 1.0 / (2.0 + np.sqrt(2.0)), 6.0 + np.sqrt(2.0)
    out = np.empty((len(times_s), n))
    results, room = np.empty(at.ALL_RESULTS), make_room(match)
    now, y = times_s[0], state.copy()
    out[0] = y
    f0, f1, f2, ft = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    inside = np.empty(n)
    found = np.empty((MOST_TRANSITIONS, 3))
    transitions = 0
    excess = np.zeros(2)
    for k in range(2):
        excess[k] = _excess(now, y, k, match, slips_at_m_s)
    state_rates(now, y, match, f0, results, room)
    step, row, stop, steps = 1e-4, 1, 0, 0
    order, jacobian = np.empty(n, np.int64), np.empty((n, n))
    while row < len(times_s):
        while stop < len(stops_s) and stops_s[stop] <= now + 1e-12:
            stop += 1
        limit = stops_s[stop] - now if stop < len(stops_s) else longest_s
        rates_jacobian(now, y, match, room, jacobian)
        state_rates(now + 1e-7, y, match, ft, results, room)
        ft = (ft - f0) / 1e-7
        while True:
            steps += 1
            if steps > MOST_STEPS or step < SHORTEST_S:
                return out, -1, found[:transitions]
            h = min(step, longest_s, limit)
            system = -h * d * jacobian
            for i in range(n):
                system[i, i] += 1.0
            factor_in_place(system, order)
            k1 = solve_factored(system, order, f0 + h * d * ft)
            state_rates(now + 0.5 * h, y + 0.5 * h * k1, match, f1, results, room)
            k2 = solve_factored(system, order, f1 - k1) + k1
            ahead = y + h * k2
            state_rates(now + h, ahead, match, f2, results, room)
            k3 = solve_factored(system, order, f2 - e32 * (k2 - f1) - 2.0 * (k1 - f0) + h * d * ft)
            error = 0.0
            for i in range(n):
                wrong = abs(h / 6.0 * (k1[i] - 2.0 * k2[i] + k3[i]))
                wrong /= absolute[i] + relative * max(abs(y[i]), abs(ahead[i]))
                error = max(error, wrong) if np.isfinite(wrong) else 1e30
            if error <= 1.0:
                break
            step = h * max(0.1, 0.8 * error ** (-1.0 / 3.0)) if error < 1e12 else 0.1 * h
        while row < len(times_s) and times_s[row] <= now + h + 1e-12:
            _between((times_s[row] - now) / h, h, y, f0, ahead, f2, out[row])
            row += 1
        for look in range(1, LOOKS + 1):
            part = look / LOOKS
            _between(part, h, y, f0, ahead, f2, inside)
            for k in range(2):
                after = _excess(now + part * h, inside, k, match, slips_at_m_s)
                if (after > 0.0) != (excess[k] > 0.0) and transitions < len(found):
                    low, high = (look - 1) / LOOKS, part
                    for _ in range(24):
                        middle = 0.5 * (low + high)
                        _between(middle, h, y, f0, ahead, f2, inside)
                        same = (_excess(now + middle * h, inside, k, match, slips_at_m_s) > 0.0) == (excess[k] > 0.0)
                        low, high = (middle, high) if same else (low, middle)
                    found[transitions, 0], found[transitions, 1] = now + high * h, k
                    found[transitions, 2] = 1.0 if after > 0.0 else 0.0
                    transitions += 1
                    _between(part, h, y, f0, ahead, f2, inside)
                excess[k] = after
        now, y = now + h, ahead
        f0, f2 = f2, f0
        step = h * min(4.0, max(0.2, 0.8 * (error + 1e-10) ** (-1.0 / 3.0)))
    return out, steps, found[:transitions]


@compiled
def results_along(times_s: FloatArray, states: FloatArray, match: MatchNumbers) -> FloatArray:
    """Results (k, ALL_RESULTS) of `dynamics.state_rates` at each of ``times_s`` (k,) for ``states`` (k, 20)."""
    out = np.empty((len(times_s), at.ALL_RESULTS))
    rates, room = np.empty(states.shape[1]), make_room(match)
    for row in range(len(times_s)):
        state_rates(times_s[row], states[row], match, rates, out[row], room)
    return out
