"""Forces and time steps of the planar match, compiled.

Everything compiled stands in this one file: the compiler's cache on disk notices changes of this file only.

A state holds for each of two bodies: x, y [m] and heading [rad] of the centre of mass, their rates [m/s, rad/s], and
the rates of its left and right driven wheels [rad/s], and how far the friction of each side's drive is strained, −1 to
1. Wheels of one side are geared together. A body of mass 0 is absent.

Dry friction on the table is a smooth law: it reaches 71 % of its full value at a creep of `CREEP_M_S` and 99.5 % at ten
times that. So a wheel that grips creeps a little, and no transition between gripping and slipping can be stepped over:
the step control sees a steep slope instead of a jump. The drive's own friction must hold a stopped machine without any
creep, for seconds; it is a spring that gives way (P. R. Dahl, A solid friction model, Aerospace Corp. 1968).
"""

from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

import numba
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
_Function = TypeVar("_Function", bound=Callable[..., Any])


def _compiled(function: _Function) -> _Function:
    try:
        compiled = numba.njit(cache=True, error_model="numpy", nogil=True)(function)
    except RuntimeError:
        # No folder to keep it in: compile for this run only.
        compiled = numba.njit(error_model="numpy", nogil=True)(function)
    return cast("_Function", compiled)


#: Creep speed [m/s] that stands for sticking; MuJoCo and real tyres creep more.
CREEP_M_S: Final = 2e-4
#: Slip speed [m/s] over which the static coefficient gives way to the sliding one.
STATIC_FADE_M_S: Final = 0.02
#: Stretch [m] over which the rope's damping sets in, so that a rope that just comes taut is not hit.
DAMPING_ONSET_M: Final = 1e-4

#: Change of a pull [N] by which its effect on a body is differenced.
PULL_STEP_N: Final = 1e-3

#: Width [m] over which grip changes at the edge of a stretch of table; a wall's stiffness [N/m] and damping [N s/m].
STRETCH_EDGE_M: Final = 0.004
WALL_N_PER_M, WALL_N_S_PER_M = 2e4, 200.0

#: Turn of the wheels [rad] that strains the drive's friction to 63 %: 0.05 mm at the rim.
FRICTION_STRAIN_RAD: Final = 1e-3

STATES: Final = 10
# Places in a body's numbers; contact points follow from CONTACT_0 on, three numbers each: x, y, kind.
MASS, YAW_INERTIA, COM_X, COM_Y, COM_Z, HITCH_X, HITCH_Y, HITCH_Z, WHEEL_RADIUS = range(9)
GRIP_STATIC, GRIP_SLIDING, ROLLING, HOLDING, BRAKE, ON_VOLTAGE, SAG, DELAY = range(9, 17)
STALL_LEFT, STALL_RIGHT, FREE_LEFT, FREE_RIGHT, FRICTION_LEFT, FRICTION_RIGHT, INERTIA_LEFT, INERTIA_RIGHT = range(
    17, 25
)
LOSS_S, LOST_LEFT, LOST_RIGHT, GRIP_SINCE_S, GRIP_SINCE_RATIO, STRETCH_FROM, STRETCH_TO, STRETCH_RATIO = range(25, 33)
WALL_X, WALL_SIDE = range(33, 35)
CONTACT_0: Final = 35
BODY_NUMBERS: Final = CONTACT_0 + 12
#: Kinds of contact point.
DRAGGED, DRIVEN, ROLLING_FREE = 0.0, 1.0, 2.0
# Places in the rope's numbers and in the results for one instant.
ROPE_LENGTH, ROPE_STIFFNESS, ROPE_DAMPING, GRAVITY, RELEASE_S = range(5)
ROPE_NUMBERS: Final = 5
TENSION, STRETCH, ROPE_LOSS = range(3)
TRACTION, LOAD, SLIP, SPEED, DRIVE_POWER, LOSS_POWER, LEAST_LOAD, GRIP_USED = range(8)
RESULTS_0, RESULTS = 3, 8


@_compiled
def _share_at(time_s: float, table: FloatArray) -> float:
    if time_s < 0.0:
        return 0.0
    if time_s <= table[0, 0]:
        return float(table[0, 1])
    for i in range(1, len(table)):
        if time_s <= table[i, 0]:
            part = (time_s - table[i - 1, 0]) / (table[i, 0] - table[i - 1, 0])
            return float(table[i - 1, 1] + part * (table[i, 1] - table[i - 1, 1]))
    return float(table[-1, 1])


@_compiled
def _drive_torque_Nm(  # noqa: N802 - SI capitals
    rate: float, share: float, stall: float, free: float, on_voltage: float, sag: float
) -> float:
    # The law of mechanics.motor.drive_torque_Nm, held equal to it by a test.
    ratio = share - rate / free if on_voltage > 0.5 else share * (1.0 - rate / free)
    return stall * ratio / (1.0 + sag * share)


@_compiled
def _hitch(state: FloatArray, k: int, body: FloatArray, out: FloatArray) -> None:
    i = STATES * k
    c, s = np.cos(state[i + 2]), np.sin(state[i + 2])
    dx, dy = body[HITCH_X] - body[COM_X], body[HITCH_Y] - body[COM_Y]
    ax, ay = c * dx - s * dy, s * dx + c * dy
    out[0], out[1], out[2] = state[i] + ax, state[i + 1] + ay, body[HITCH_Z]
    out[3], out[4] = state[i + 3] - state[i + 5] * ay, state[i + 4] + state[i + 5] * ax


@_compiled
def _grip_ratio(time_s: float, x_m: float, body: FloatArray) -> float:
    """By how much grip is changed now and here: since a time, and over a stretch of the table."""
    ratio = body[GRIP_SINCE_RATIO] if time_s >= body[GRIP_SINCE_S] else 1.0
    if body[STRETCH_RATIO] != 1.0:
        inside = np.tanh((x_m - body[STRETCH_FROM]) / STRETCH_EDGE_M) - np.tanh(
            (x_m - body[STRETCH_TO]) / STRETCH_EDGE_M
        )
        ratio *= 1.0 + 0.5 * (body[STRETCH_RATIO] - 1.0) * inside
    return float(ratio)


@_compiled
def rope_pull(
    time_s: float, state: FloatArray, bodies: FloatArray, rope: FloatArray, pull: FloatArray, results: FloatArray
) -> None:
    """Set ``pull`` (3,), the force on the first body [N], and the rope's part of ``results``."""
    pull[:] = 0.0
    results[TENSION] = results[STRETCH] = results[ROPE_LOSS] = 0.0
    if bodies[0, MASS] == 0.0 or bodies[1, MASS] == 0.0 or rope[ROPE_STIFFNESS] == 0.0:
        return
    if time_s >= rope[RELEASE_S]:
        return
    a, b = np.empty(5), np.empty(5)
    _hitch(state, 0, bodies[0], a)
    _hitch(state, 1, bodies[1], b)
    dx, dy, dz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    span = np.sqrt(dx * dx + dy * dy + dz * dz)
    stretch = span - rope[ROPE_LENGTH]
    results[STRETCH] = stretch
    if stretch <= 0.0:
        return
    rate = ((b[3] - a[3]) * dx + (b[4] - a[4]) * dy) / span
    damping = rope[ROPE_DAMPING] * rate * (1.0 - np.exp(-stretch / DAMPING_ONSET_M))
    tension = rope[ROPE_STIFFNESS] * stretch + damping
    if tension <= 0.0:
        return
    results[TENSION] = tension
    results[ROPE_LOSS] = rate * damping
    pull[0], pull[1], pull[2] = tension * dx / span, tension * dy / span, tension * dz / span


@_compiled
def _body_rates(
    time_s: float, state: FloatArray, k: int, body: FloatArray, throttle: FloatArray, gravity: float,
    pull: FloatArray, out: FloatArray, results: FloatArray,
) -> None:  # fmt: skip
    """Rates of one body's state, and its results; ``pull`` is the rope's force on it in the table frame."""
    i = STATES * k
    heading, turn = state[i + 2], state[i + 5]
    c, s = np.cos(heading), np.sin(heading)
    # Body frame: forward and left.
    forward, left = c * state[i + 3] + s * state[i + 4], -s * state[i + 3] + c * state[i + 4]
    px, py, pz = c * pull[0] + s * pull[1], -s * pull[0] + c * pull[1], pull[2]
    height = body[COM_Z]
    hx, hy, hz = body[HITCH_X] - body[COM_X], body[HITCH_Y] - body[COM_Y], body[HITCH_Z] - height
    radius = body[WHEEL_RADIUS]
    per_load = np.empty((4, 4))  # forward and left force per load, slip loss per load, sign of rolling
    equations = np.zeros((3, 4))
    for j in range(4):
        x, y = body[CONTACT_0 + 3 * j] - body[COM_X], body[CONTACT_0 + 3 * j + 1] - body[COM_Y]
        kind = body[CONTACT_0 + 3 * j + 2]
        vx, vy = forward - turn * y, left + turn * x
        roll = 0.0
        if kind == DRIVEN:
            rate = state[i + 6] if y + body[COM_Y] >= 0.0 else state[i + 7]
            slip_x = rate * radius - vx
            roll = body[ROLLING] * rate * radius / np.sqrt((rate * radius) ** 2 + CREEP_M_S**2)
        elif kind == ROLLING_FREE:
            slip_x = 0.0
        else:
            slip_x = -vx
        slip = np.sqrt(slip_x * slip_x + vy * vy)
        fade = np.exp(-((slip / STATIC_FADE_M_S) ** 2))
        grip = body[GRIP_SLIDING] + (body[GRIP_STATIC] - body[GRIP_SLIDING]) * fade
        grip *= _grip_ratio(time_s, state[i] + c * x - s * y, body)
        scale = grip / np.sqrt(slip * slip + CREEP_M_S**2)
        per_load[j, 0], per_load[j, 1], per_load[j, 2] = scale * slip_x, -scale * vy, scale * slip * slip
        if kind == ROLLING_FREE:
            drag = body[ROLLING] * vx / np.sqrt(vx * vx + CREEP_M_S**2)
            per_load[j, 0] -= drag
            per_load[j, 2] += drag * vx
        per_load[j, 3] = roll
        # Loads lie on a plane a + b x + c y over the contacts; balances of force, pitch and tilt give a, b, c.
        pitch, tilt = -height * per_load[j, 0] - x, y + height * per_load[j, 1]
        for column, basis in enumerate((1.0, x, y)):
            equations[0, column] += basis
            equations[1, column] += basis * pitch
            equations[2, column] += basis * tilt
    total = max(body[MASS] * gravity - pz, 0.0)
    equations[0, 3], equations[1, 3], equations[2, 3] = total, -(hz * px - hx * pz), -(hy * pz - hz * py)
    solve_in_place(equations)
    loads = np.empty(4)
    least, carried = 1e30, 0.0
    for j in range(4):
        x, y = body[CONTACT_0 + 3 * j] - body[COM_X], body[CONTACT_0 + 3 * j + 1] - body[COM_Y]
        loads[j] = equations[0, 3] + equations[1, 3] * x + equations[2, 3] * y
        least = min(least, loads[j])
        loads[j] = max(loads[j], 0.0)
        carried += loads[j]
    force_x, force_y, moment = px, py, hx * py - hy * px
    torque = np.zeros(2)
    traction = driven_load = loss = used = 0.0
    for j in range(4):
        load = loads[j] * total / carried if carried > 0.0 else 0.0
        x, y = body[CONTACT_0 + 3 * j] - body[COM_X], body[CONTACT_0 + 3 * j + 1] - body[COM_Y]
        fx, fy = load * per_load[j, 0], load * per_load[j, 1]
        force_x += fx
        force_y += fy
        moment += x * fy - y * fx
        loss += load * per_load[j, 2]
        if body[CONTACT_0 + 3 * j + 2] == DRIVEN:
            side = 0 if y + body[COM_Y] >= 0.0 else 1
            resistance = load * per_load[j, 3]
            torque[side] -= radius * (fx + resistance)
            loss += radius * resistance * state[i + 6 + side]
            traction += fx + resistance
            driven_load += load
            used += np.sqrt(fx * fx + fy * fy)
    if body[HOLDING] > 0.0:
        hold = body[HOLDING] / np.sqrt(forward * forward + left * left + CREEP_M_S**2)
        force_x -= hold * forward
        force_y -= hold * left
        loss += hold * (forward * forward + left * left)
    if body[WALL_SIDE] != 0.0:
        depth = body[WALL_SIDE] * (state[i] - body[WALL_X])
        if depth > 0.0:
            into = body[WALL_SIDE] * state[i + 3]
            push = max(WALL_N_PER_M * depth + WALL_N_S_PER_M * into * (1.0 - np.exp(-depth / DAMPING_ONSET_M)), 0.0)
            force_x -= c * body[WALL_SIDE] * push
            force_y += s * body[WALL_SIDE] * push
            loss += push * into - WALL_N_PER_M * depth * into
    out[i], out[i + 1], out[i + 2] = state[i + 3], state[i + 4], turn
    out[i + 3] = (c * force_x - s * force_y) / body[MASS]
    out[i + 4] = (s * force_x + c * force_y) / body[MASS]
    out[i + 5] = moment / body[YAW_INERTIA]
    power = surface = 0.0
    for side in range(2):
        out[i + 6 + side] = out[i + 8 + side] = 0.0
        if radius > 0.0 and body[INERTIA_LEFT + side] > 0.0:
            rate = state[i + 6 + side]
            share = _share_at(time_s - body[DELAY], throttle[side])
            stall = body[STALL_LEFT + side] * (1.0 - body[LOST_LEFT + side] if time_s >= body[LOSS_S] else 1.0)
            given = _drive_torque_Nm(rate, share, stall, body[FREE_LEFT + side], body[ON_VOLTAGE], body[SAG])
            strain = state[i + 8 + side]
            against = body[FRICTION_LEFT + side] * strain
            if strain < 0.0:  # a brake or a self-locking gear holds against being pulled backwards
                against += body[BRAKE] * radius / 2 * strain
            out[i + 8 + side] = (rate - abs(rate) * strain) / FRICTION_STRAIN_RAD
            out[i + 6 + side] = (given - against + torque[side]) / body[INERTIA_LEFT + side]
            power += given * rate
            loss += against * rate
            surface += 0.5 * radius * rate
    results[TRACTION], results[LOAD] = traction, driven_load
    results[SPEED] = forward + turn * body[COM_Y]
    results[SLIP] = surface - results[SPEED] if radius > 0.0 else 0.0
    results[DRIVE_POWER], results[LOSS_POWER], results[LEAST_LOAD] = power, loss, least
    results[GRIP_USED] = used / driven_load if driven_load > 0.0 else 0.0


@_compiled
def solve_in_place(equations: FloatArray) -> None:
    """Solve a square system by elimination with pivoting; the last column of (n, n + m) holds the answer after."""
    n, columns = equations.shape
    for i in range(n):
        best = i
        for j in range(i + 1, n):
            if abs(equations[j, i]) > abs(equations[best, i]):
                best = j
        if best != i:
            for column in range(i, columns):
                equations[i, column], equations[best, column] = equations[best, column], equations[i, column]
        for j in range(i + 1, n):
            factor = equations[j, i] / equations[i, i]
            if factor != 0.0:
                for column in range(i, columns):
                    equations[j, column] -= factor * equations[i, column]
    for i in range(n - 1, -1, -1):
        for column in range(n, columns):
            value = equations[i, column]
            for j in range(i + 1, n):
                value -= equations[i, j] * equations[j, column]
            equations[i, column] = value / equations[i, i]


@_compiled
def factor_in_place(matrix: FloatArray, order: IntArray) -> None:
    """Triangular factors of a square matrix by elimination with pivoting, in its own place; ``order`` gets the rows."""
    n = len(matrix)
    for i in range(n):
        best = i
        for j in range(i + 1, n):
            if abs(matrix[j, i]) > abs(matrix[best, i]):
                best = j
        order[i] = best
        if best != i:
            for column in range(n):
                matrix[i, column], matrix[best, column] = matrix[best, column], matrix[i, column]
        for j in range(i + 1, n):
            if matrix[j, i] != 0.0:
                factor = matrix[j, i] / matrix[i, i]
                matrix[j, i] = factor
                for column in range(i + 1, n):
                    matrix[j, column] -= factor * matrix[i, column]


@_compiled
def solve_factored(matrix: FloatArray, order: IntArray, right: FloatArray) -> FloatArray:
    """Solution (n,) for a right side, from `factor_in_place`."""
    n = len(matrix)
    out = right.copy()
    for i in range(n):
        out[i], out[order[i]] = out[order[i]], out[i]
    for i in range(n):
        for j in range(i):
            out[i] -= matrix[i, j] * out[j]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            out[i] -= matrix[i, j] * out[j]
        out[i] /= matrix[i, i]
    return out


@_compiled
def state_rates(
    time_s: float, state: FloatArray, bodies: FloatArray, throttle: FloatArray, rope: FloatArray,
    out: FloatArray, results: FloatArray,
) -> None:  # fmt: skip
    """Set ``out`` (20,), the rates of ``state`` (20,), and ``results``: the rope's three numbers, then eight a body.

    ``bodies`` (2, BODY_NUMBERS), ``rope`` (ROPE_NUMBERS,), ``throttle`` (2, 2, k, 2): body, side, row, (time, share).
    """
    pull = np.empty(3)
    rope_pull(time_s, state, bodies, rope, pull, results)
    for k in range(2):
        part = results[RESULTS_0 + RESULTS * k : RESULTS_0 + RESULTS * (k + 1)]
        if bodies[k, MASS] > 0.0:
            _body_rates(time_s, state, k, bodies[k], throttle[k], rope[GRAVITY], pull, out, part)
        else:
            out[STATES * k : STATES * (k + 1)] = 0.0
            part[:] = 0.0
        pull[:] = -pull


@_compiled
def rates_jacobian(
    time_s: float, state: FloatArray, bodies: FloatArray, throttle: FloatArray, rope: FloatArray
) -> FloatArray:
    """Jacobian (20, 20) of `state_rates` by forward differences well below the creep speed.

    A body's state moves the other body by the rope's pull alone, whose effect is differenced once.
    """
    n = len(state)
    jacobian = np.zeros((n, n))
    results = np.empty(RESULTS_0 + 2 * RESULTS)
    base, moved, pull, other = np.empty(n), np.empty(n), np.empty(3), np.empty(3)
    rope_pull(time_s, state, bodies, rope, pull, results)
    by_pull = np.zeros((3, n))
    for k in range(2):
        if bodies[k, MASS] <= 0.0:
            continue
        part = results[RESULTS_0 + RESULTS * k : RESULTS_0 + RESULTS * (k + 1)]
        mine = slice(STATES * k, STATES * (k + 1))
        sign = 1.0 - 2.0 * k
        _body_rates(time_s, state, k, bodies[k], throttle[k], rope[GRAVITY], sign * pull, base, part)
        if rope[ROPE_STIFFNESS] > 0.0:
            for c in range(3):
                other[:] = pull
                other[c] += PULL_STEP_N
                _body_rates(time_s, state, k, bodies[k], throttle[k], rope[GRAVITY], sign * other, moved, part)
                by_pull[c, mine] = (moved[mine] - base[mine]) / PULL_STEP_N
    shifted = state.copy()
    for i in range(n):
        k = i // STATES
        if bodies[k, MASS] <= 0.0:
            continue
        part = results[RESULTS_0 + RESULTS * k : RESULTS_0 + RESULTS * (k + 1)]
        mine, theirs = slice(STATES * k, STATES * (k + 1)), slice(STATES * (1 - k), STATES * (2 - k))
        step = 1e-7 if i % STATES < 6 else 1e-6
        shifted[i] = state[i] + step
        step = shifted[i] - state[i]
        other[:] = pull
        if i % STATES < 6:
            rope_pull(time_s, shifted, bodies, rope, other, results)
        sign = 1.0 - 2.0 * k
        _body_rates(time_s, shifted, k, bodies[k], throttle[k], rope[GRAVITY], sign * other, moved, part)
        jacobian[mine, i] = (moved[mine] - base[mine]) / step
        for c in range(3):
            change = (other[c] - pull[c]) / step
            if change != 0.0:
                jacobian[theirs, i] += by_pull[c, theirs] * change
        shifted[i] = state[i]
    return jacobian


@_compiled
def step_through(
    state: FloatArray, times_s: FloatArray, stops_s: FloatArray, bodies: FloatArray, throttle: FloatArray,
    rope: FloatArray, relative: float, absolute: FloatArray, longest_s: float,
) -> tuple[FloatArray, int]:  # fmt: skip
    """States (k, 20) at ``times_s`` (k,) from ``state`` at the first of them, and the number of steps (−1: gave up).

    A linearly implicit method of order 2 with error control that stays stable however stiff the grip. It lands on each
    of ``stops_s`` (ascending), the corners of the throttle plans.

    Notes
    -----
    L. F. Shampine and M. W. Reichelt, "The MATLAB ODE Suite", SIAM J. Sci. Comput. 18 (1997) 1, section 3, the modified
    Rosenbrock pair of orders 2 and 3. Between steps: cubic Hermite.
    Checked by: tests/mechanics/test_match.py::test_quick_steps_agree_with_scipy
    """
    n = len(state)
    d, e32 = 1.0 / (2.0 + np.sqrt(2.0)), 6.0 + np.sqrt(2.0)
    out = np.empty((len(times_s), n))
    results = np.empty(RESULTS_0 + 2 * RESULTS)
    now, y = times_s[0], state.copy()
    out[0] = y
    f0, f1, f2, ft = np.empty(n), np.empty(n), np.empty(n), np.empty(n)
    state_rates(now, y, bodies, throttle, rope, f0, results)
    step, row, stop, steps = 1e-4, 1, 0, 0
    order = np.empty(n, np.int64)
    while row < len(times_s):
        while stop < len(stops_s) and stops_s[stop] <= now + 1e-12:
            stop += 1
        limit = stops_s[stop] - now if stop < len(stops_s) else longest_s
        jacobian = rates_jacobian(now, y, bodies, throttle, rope)
        state_rates(now + 1e-7, y, bodies, throttle, rope, ft, results)
        ft = (ft - f0) / 1e-7
        while True:
            steps += 1
            if steps > 200_000 or step < 1e-11:
                return out, -1
            h = min(step, longest_s, limit)
            system = -h * d * jacobian
            for i in range(n):
                system[i, i] += 1.0
            factor_in_place(system, order)
            k1 = solve_factored(system, order, f0 + h * d * ft)
            state_rates(now + 0.5 * h, y + 0.5 * h * k1, bodies, throttle, rope, f1, results)
            k2 = solve_factored(system, order, f1 - k1) + k1
            ahead = y + h * k2
            state_rates(now + h, ahead, bodies, throttle, rope, f2, results)
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
            p = (times_s[row] - now) / h
            out[row] = (
                (1 + 2 * p) * (1 - p) ** 2 * y + p * (1 - p) ** 2 * h * f0
                + p * p * (3 - 2 * p) * ahead + p * p * (p - 1) * h * f2
            )  # fmt: skip
            row += 1
        now, y = now + h, ahead
        f0, f2 = f2, f0
        step = h * min(4.0, max(0.2, 0.8 * (error + 1e-10) ** (-1.0 / 3.0)))
    return out, steps


@_compiled
def results_along(
    times_s: FloatArray, states: FloatArray, bodies: FloatArray, throttle: FloatArray, rope: FloatArray
) -> FloatArray:
    """Results (k, 19) of `state_rates` at each of ``times_s`` (k,) for ``states`` (k, 20)."""
    out = np.empty((len(times_s), RESULTS_0 + 2 * RESULTS))
    rates = np.empty(states.shape[1])
    for row in range(len(times_s)):
        state_rates(times_s[row], states[row], bodies, throttle, rope, rates, out[row])
    return out
