"""Where a body stands on the table and where that puts its hitch, compiled.

On a table with a profile a body is moved along the surface: its x is travel, from which a table made beforehand gives
its place, its height and its tilt. Velocities and what forces do follow from the same table, so that energy is kept.
"""

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.compiling import compiled_lean
from matchvision.mechanics.layout import (
    ARM_HITCHED,
    ARM_MASS,
    ARM_WAY,
    BEND,
    CLIMB,
    COM_X,
    COM_Y,
    COM_Z,
    HEIGHT,
    HITCH_AT,
    HITCH_BY_HEADING,
    HITCH_BY_X,
    HITCH_VELOCITY,
    HITCH_X,
    HITCH_Y,
    HITCH_Z,
    INERTIA_LEFT,
    MASS,
    ORIGIN_X,
    RISE_BY_HEADING,
    RISE_BY_X,
    STAND_DTILT,
    STAND_DX,
    STAND_DZ,
    STAND_TILT,
    STAND_X,
    STAND_Z,
    STATES,
    TILT_COS,
    TILT_SIN,
    WHEEL_RADIUS,
    MatchNumbers,
)
from matchvision.mechanics.plans import arm_motion


@compiled_lean
def _read_cubic(
    part: float, step: float, low: FloatArray, high: FloatArray, value: int, rate: int
) -> tuple[float, float]:
    """Cubic through two rows by value and rate, and the cubic's own rate; straight on beyond them."""
    if part < 0.0:
        return low[value] + part * step * low[rate], low[rate]
    if part > 1.0:
        return high[value] + (part - 1.0) * step * high[rate], high[rate]
    p, q = part, 1.0 - part
    rise = high[value] - low[value]
    at = low[value] + p * p * (3.0 - 2.0 * p) * rise + step * p * q * (q * low[rate] - p * high[rate])
    slope = 6.0 * p * q * rise / step + q * (1.0 - 3.0 * p) * low[rate] - p * (2.0 - 3.0 * p) * high[rate]
    return at, slope


@compiled_lean
def place_body(time_s: float, state: FloatArray, k: int, match: MatchNumbers, out: FloatArray) -> None:
    """Set ``out`` (PLACED,): how body ``k`` stands, and its hitch, in the order that the layout names."""
    i = STATES * k
    body = match.bodies[k]
    c, s = np.cos(state[i + 2]), np.sin(state[i + 2])
    turn = state[i + 5]
    far, speed, _ = arm_motion(time_s, body)
    carried = body[ARM_WAY] * body[ARM_MASS] / body[MASS]  # by how much the centre of mass goes with the arm
    hitched = body[ARM_WAY] * body[ARM_HITCHED]
    com_x, com_rate = body[COM_X] + carried * far, carried * speed
    arm_x, arm_rate = body[HITCH_X] + hitched * far, hitched * speed
    # From the origin to the centre of mass and to the hitch, in the plane that it stands on.
    dx, dy = c * com_x - s * body[COM_Y], s * com_x + c * body[COM_Y]
    hx, hy, hz = c * arm_x - s * body[HITCH_Y], s * arm_x + c * body[HITCH_Y], body[HITCH_Z]
    sin_t, cos_t, by_x, by_z, origin_x = 0.0, 1.0, 1.0, 0.0, state[i] - dx
    out[BEND] = out[RISE_BY_X] = out[RISE_BY_HEADING] = out[HEIGHT] = out[CLIMB] = 0.0
    at_x, at_z = origin_x + hx, hz
    if match.stand.shape[1] > 0:
        table = match.stand[k]
        place = (origin_x - match.grid[0]) / match.grid[1]
        row = min(max(int(np.floor(place)), 0), len(table) - 2)
        part = place - row
        low, high = table[row], table[row + 1]
        origin_x, x_rate = _read_cubic(part, match.grid[1], low, high, STAND_X, STAND_DX)
        origin_z, z_rate = _read_cubic(part, match.grid[1], low, high, STAND_Z, STAND_DZ)
        tilt, bend = _read_cubic(part, match.grid[1], low, high, STAND_TILT, STAND_DTILT)
        cos_t, sin_t = np.cos(tilt), np.sin(tilt)
        by_x, by_z = x_rate - bend * (hx * sin_t + hz * cos_t), z_rate + bend * (hx * cos_t - hz * sin_t)
        at_x, at_z = origin_x + hx * cos_t - hz * sin_t, origin_z + hx * sin_t + hz * cos_t
        rise = z_rate + bend * (dx * cos_t - body[COM_Z] * sin_t)
        out[BEND], out[RISE_BY_X], out[RISE_BY_HEADING] = bend, rise, dy * (rise - sin_t)
        out[HEIGHT] = origin_z + dx * sin_t + body[COM_Z] * (cos_t - 1.0)
        out[CLIMB] = tilt
    out[ORIGIN_X], out[TILT_COS], out[TILT_SIN] = origin_x, cos_t, sin_t
    out[HITCH_AT], out[HITCH_AT + 1], out[HITCH_AT + 2] = at_x, state[i + 1] + hy - dy, at_z
    out[HITCH_BY_X], out[HITCH_BY_X + 1], out[HITCH_BY_X + 2] = by_x, 0.0, by_z
    # Turning moves the hitch about the origin, and the origin about the centre of mass.
    out[HITCH_BY_HEADING] = dy * by_x - hy * cos_t
    out[HITCH_BY_HEADING + 1] = hx - dx
    out[HITCH_BY_HEADING + 2] = dy * by_z - hy * sin_t
    along = state[i + 3] - c * com_rate
    out[HITCH_VELOCITY] = by_x * along + out[HITCH_BY_HEADING] * turn + c * arm_rate * cos_t
    out[HITCH_VELOCITY + 1] = state[i + 4] + s * (arm_rate - com_rate) + out[HITCH_BY_HEADING + 1] * turn
    out[HITCH_VELOCITY + 2] = by_z * along + out[HITCH_BY_HEADING + 2] * turn + c * arm_rate * sin_t


@compiled_lean
def slip_speed_m_s(time_s: float, state: FloatArray, k: int, match: MatchNumbers) -> float:
    """Mean surface speed of a body's driven wheels less the ground's under it; 0 without wheels."""
    body, i = match.bodies[k], STATES * k
    if body[MASS] <= 0.0 or body[WHEEL_RADIUS] <= 0.0:
        return 0.0
    _, speed, _ = arm_motion(time_s, body)
    forward = np.cos(state[i + 2]) * state[i + 3] + np.sin(state[i + 2]) * state[i + 4] + state[i + 5] * body[COM_Y]
    surface = 0.0
    for side in range(2):
        if body[INERTIA_LEFT + side] > 0.0:
            surface += 0.5 * body[WHEEL_RADIUS] * state[i + 6 + side]
    return float(surface - forward + body[ARM_WAY] * body[ARM_MASS] / body[MASS] * speed)
