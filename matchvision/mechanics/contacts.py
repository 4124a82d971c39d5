"""What the table does to one body, compiled: grip at its four contact points, the loads on them, walls.

Dry friction on the table is a smooth law: it reaches 71 % of its full value at a creep of `CREEP_M_S` and 99.5 % at ten
times that. So a wheel that grips creeps a little, and no transition between gripping and slipping can be stepped over:
the step control sees a steep slope instead of a jump.
"""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.compiling import built_in
from matchvision.mechanics.elimination import solve_three
from matchvision.mechanics.layout import CREEP_M_S
from matchvision.mechanics.pulling import DAMPING_ONSET_M

#: Slip speed [m/s] over which the static coefficient gives way to the sliding one.
STATIC_FADE_M_S: Final = 0.02
#: Width [m] over which grip changes at the edge of a stretch of table; a wall's stiffness [N/m] and damping [N s/m].
STRETCH_EDGE_M: Final = 0.004
WALL_N_PER_M, WALL_N_S_PER_M = 2e4, 200.0


@built_in
def _past(place_m: float, edge_m: float, ahead_m: float) -> float:
    """How much of what reaches ``ahead_m`` on from a place lies past an edge of a stretch: 1 all of it, -1 nothing."""
    here = (place_m - edge_m) / STRETCH_EDGE_M
    if abs(ahead_m) < STRETCH_EDGE_M:
        return float(np.tanh(here + 0.5 * ahead_m / STRETCH_EDGE_M))
    there = (place_m + ahead_m - edge_m) / STRETCH_EDGE_M
    # The mean of tanh between the two: ln cosh u = |u| + ln(1 + exp(-2 |u|)) - ln 2.
    logs = abs(there) + np.log1p(np.exp(-2.0 * abs(there))) - abs(here) - np.log1p(np.exp(-2.0 * abs(here)))
    return float(logs / (there - here))


@built_in
def _grip_ratio(
    time_s: float, state: FloatArray, i: int, body: FloatArray, x: float, y: float, com_x: float
) -> float:  # fmt: skip
    """By how much grip is changed now and at a place in the body: since a time, and over a stretch of the table.

    A load lies on all of its base, from its rear contacts to its front ones, and every part of it drags alike: how the
    base bears along its length no balance tells.
    """
    ratio = body[at.GRIP_SINCE_RATIO] if time_s >= body[at.GRIP_SINCE_S] else 1.0
    if body[at.STRETCH_RATIO] != 1.0:
        along, across = np.cos(state[i + 2]), np.sin(state[i + 2])
        ahead_m = 0.0
        if body[at.WHEEL_RADIUS] <= 0.0:
            x, ahead_m = body[at.CONTACT_0 + 6] - com_x, along * (body[at.CONTACT_0] - body[at.CONTACT_0 + 6])
        x_m = state[i] + along * x - across * y
        inside = _past(x_m, body[at.STRETCH_FROM], ahead_m) - _past(x_m, body[at.STRETCH_TO], ahead_m)
        ratio *= 1.0 + 0.5 * (body[at.STRETCH_RATIO] - 1.0) * inside
    return float(ratio)


@built_in
def grip_contacts(
    time_s: float, state: FloatArray, i: int, body: FloatArray, forward: float, left: float, com_x: float,
    com_rate: float, per_load: FloatArray,
) -> None:  # fmt: skip
    """Set, for each contact, force forward and left per load, slip loss per load and rolling resistance per load.

    The body's own state begins at ``i``; it goes ``forward`` and ``left``, its centre of mass lies at ``com_x`` and
    moves within it by ``com_rate``.
    """
    turn, radius = state[i + 5], body[at.WHEEL_RADIUS]
    for j in range(4):
        x, y = body[at.CONTACT_0 + 3 * j] - com_x, body[at.CONTACT_0 + 3 * j + 1] - body[at.COM_Y]
        kind = body[at.CONTACT_0 + 3 * j + 2]
        vx, vy = forward - com_rate - turn * y, left + turn * x
        roll = 0.0
        if kind == at.DRIVEN:
            rate = state[i + 6] if y + body[at.COM_Y] >= 0.0 else state[i + 7]
            slip_x = rate * radius - vx
            if body[at.ROLLING] != 0.0:
                roll = body[at.ROLLING] * rate * radius / np.sqrt((rate * radius) ** 2 + CREEP_M_S**2)
        elif kind == at.ROLLING_FREE:
            slip_x = 0.0
        else:
            slip_x = -vx
        slip = np.sqrt(slip_x * slip_x + vy * vy)
        grip = body[at.GRIP_SLIDING]
        if body[at.GRIP_STATIC] != grip:
            grip += (body[at.GRIP_STATIC] - grip) * np.exp(-((slip / STATIC_FADE_M_S) ** 2))
        grip *= _grip_ratio(time_s, state, i, body, x, y, com_x)
        scale = grip / np.sqrt(slip * slip + CREEP_M_S**2)
        per_load[j, 0], per_load[j, 1], per_load[j, 2] = scale * slip_x, -scale * vy, scale * slip * slip
        if kind == at.ROLLING_FREE:
            drag = body[at.ROLLING] * vx / np.sqrt(vx * vx + CREEP_M_S**2)
            per_load[j, 0] -= drag
            per_load[j, 2] += drag * vx
        per_load[j, 3] = roll


@built_in
def bear_loads(
    body: FloatArray, com_x: float, total: float, lift: float, roll_over: float, per_load: FloatArray, loads: FloatArray
) -> float:
    """Set the load on each contact; the least of them, below nothing where a contact would lift.

    Loads lie on a plane a + b x + c y over the contacts; balances of force, pitch and tilt give a, b, c. ``total`` is
    what rests on the table, ``lift`` and ``roll_over`` the rope's moments. What one diagonal carries beyond the plane
    is told by no balance; the plane makes up for what that does to them. A contact that would lift carries nothing,
    the others all.
    """
    height = body[at.COM_Z]
    sum_x = sum_y = pitch_1 = pitch_x = pitch_y = pitch_d = tilt_1 = tilt_x = tilt_y = tilt_d = 0.0
    for j in range(4):
        x, y = body[at.CONTACT_0 + 3 * j] - com_x, body[at.CONTACT_0 + 3 * j + 1] - body[at.COM_Y]
        pitch, tilt = -height * per_load[j, 0] - x, y + height * per_load[j, 1]
        sum_x += x
        sum_y += y
        pitch_1 += pitch
        pitch_x += pitch * x
        pitch_y += pitch * y
        tilt_1 += tilt
        tilt_x += tilt * x
        tilt_y += tilt * y
        diagonal = 1.0 if j == 0 or j == 3 else -1.0
        pitch_d += pitch * diagonal
        tilt_d += tilt * diagonal
    aslant = body[at.DIAGONAL] * total / 4.0
    level, slope_x, slope_y = solve_three(
        (4.0, sum_x, sum_y, total),
        (pitch_1, pitch_x, pitch_y, lift - aslant * pitch_d),
        (tilt_1, tilt_x, tilt_y, roll_over - aslant * tilt_d),
    )
    least, carrying = 1e30, 0.0
    for j in range(4):
        x, y = body[at.CONTACT_0 + 3 * j] - com_x, body[at.CONTACT_0 + 3 * j + 1] - body[at.COM_Y]
        loads[j] = level + slope_x * x + slope_y * y + (aslant if j == 0 or j == 3 else -aslant)
        least = min(least, loads[j])
        loads[j] = max(loads[j], 0.0)
        carrying += loads[j]
    for j in range(4):
        loads[j] = loads[j] * total / carrying if carrying > 0.0 else 0.0
    return float(least)


@built_in
def push_of_wall(state: FloatArray, i: int, body: FloatArray, com_x: float) -> tuple[float, float, float, float]:
    """Force forward and left, moment and loss of power by a wall across the table.

    Each front corner for itself: a machine that meets the wall askew is turned until it lies flat against it.
    """
    force_x = force_y = moment = loss = 0.0
    c, s, turn = np.cos(state[i + 2]), np.sin(state[i + 2]), state[i + 5]
    way, ahead = body[at.WALL_SIDE], body[at.HALF_LENGTH] - com_x
    for j in range(2):
        aside = (body[at.HALF_WIDTH] if j == 0 else -body[at.HALF_WIDTH]) - body[at.COM_Y]
        depth = way * (state[i] + c * ahead - s * aside - body[at.WALL_X]) - ahead
        if depth > 0.0:
            into = way * (state[i + 3] - turn * (s * ahead + c * aside))
            stiff, damping = 0.5 * WALL_N_PER_M, 0.5 * WALL_N_S_PER_M * (1.0 - np.exp(-depth / DAMPING_ONSET_M))
            push = max(stiff * depth + damping * into, 0.0)
            fx, fy = -c * way * push, s * way * push
            force_x += fx
            force_y += fy
            moment += ahead * fy - aside * fx
            loss += push * into - stiff * depth * into
    return force_x, force_y, moment, loss
