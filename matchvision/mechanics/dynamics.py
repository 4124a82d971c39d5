"""Forces on the bodies of a match and the rates of its state, compiled.

Dry friction on the table is a smooth law: it reaches 71 % of its full value at a creep of `CREEP_M_S` and 99.5 % at ten
times that. So a wheel that grips creeps a little, and no transition between gripping and slipping can be stepped over:
the step control sees a steep slope instead of a jump. The drive's own friction must hold a stopped machine without any
creep, for seconds; it is a spring that gives way (P. R. Dahl, A solid friction model, Aerospace Corp. 1968).
"""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.compiling import compiled, compiled_lean
from matchvision.mechanics.elimination import solve_three
from matchvision.mechanics.layout import CREEP_M_S, MatchNumbers, Room
from matchvision.mechanics.plans import arm_motion, drive_share, drive_torque_Nm, read_rise, read_table
from matchvision.mechanics.pulling import DAMPING_ONSET_M, pull_rope

#: Slip speed [m/s] over which the static coefficient gives way to the sliding one.
STATIC_FADE_M_S: Final = 0.02
#: Width [m] over which grip changes at the edge of a stretch of table; a wall's stiffness [N/m] and damping [N s/m].
STRETCH_EDGE_M: Final = 0.004
WALL_N_PER_M, WALL_N_S_PER_M = 2e4, 200.0
#: Turn of the wheels [rad] that strains the drive's friction to 63 %: 0.05 mm at the rim.
FRICTION_STRAIN_RAD: Final = 1e-3


@compiled_lean
def _grip_ratio(time_s: float, x_m: float, body: FloatArray) -> float:
    """By how much grip is changed now and here: since a time, and over a stretch of the table."""
    ratio = body[at.GRIP_SINCE_RATIO] if time_s >= body[at.GRIP_SINCE_S] else 1.0
    if body[at.STRETCH_RATIO] != 1.0:
        inside = np.tanh((x_m - body[at.STRETCH_FROM]) / STRETCH_EDGE_M) - np.tanh(
            (x_m - body[at.STRETCH_TO]) / STRETCH_EDGE_M
        )
        ratio *= 1.0 + 0.5 * (body[at.STRETCH_RATIO] - 1.0) * inside
    return float(ratio)


@compiled_lean
def _base_holds_N(  # noqa: N802 - SI capitals
    time_s: float, forward_N: float, whole_N: float, k: int, match: MatchNumbers
) -> float:
    """What a base holds now, at the angle between the pull and straight back along its machine."""
    holds = match.bodies[k, at.HOLDING] * read_table(time_s, match.holding[k])
    if whole_N > 0.0 and match.by_angle.shape[1] > 1:
        angle = np.arccos(min(max(-forward_N / whole_N, -1.0), 1.0))
        holds *= read_table(angle, match.by_angle[k])
    return float(max(holds, 0.0))


@compiled_lean
def body_rates(
    time_s: float, state: FloatArray, k: int, match: MatchNumbers, placed: FloatArray, pull: FloatArray,
    out: FloatArray, results: FloatArray, work: FloatArray,
) -> None:  # fmt: skip
    """Rates of one body's state, and its results; ``placed`` is how it stands, ``pull`` the force on its hitch.

    ``work`` is that of a `layout.Room`; nothing in it is kept.
    """
    i = at.STATES * k
    body, gravity = match.bodies[k], match.rope[at.GRAVITY]
    heading, turn = state[i + 2], state[i + 5]
    c, s = np.cos(heading), np.sin(heading)
    cos_t, sin_t = placed[at.TILT_COS], placed[at.TILT_SIN]
    # Body frame: forward and left in the plane that it stands on, and away from it.
    forward, left = c * state[i + 3] + s * state[i + 4], -s * state[i + 3] + c * state[i + 4]
    along, px_up = pull[0] * cos_t + pull[2] * sin_t, pull[2] * cos_t - pull[0] * sin_t
    px, py, pz = c * along + s * pull[1], -s * along + c * pull[1], px_up
    far, arm_speed, arm_accel = arm_motion(time_s, body)
    carried = body[at.ARM_WAY] * body[at.ARM_MASS] / body[at.MASS]
    com_x, com_rate = body[at.COM_X] + carried * far, carried * arm_speed
    height = body[at.COM_Z]
    hx = body[at.HITCH_X] + body[at.ARM_WAY] * body[at.ARM_HITCHED] * far - com_x
    hy, hz = body[at.HITCH_Y] - body[at.COM_Y], body[at.HITCH_Z] - height
    radius = body[at.WHEEL_RADIUS]
    per_load = work[0:4]  # forward and left force per load, slip loss per load, sign of rolling
    loads, torque = work[4], work[5]
    sum_x = sum_y = pitch_1 = pitch_x = pitch_y = tilt_1 = tilt_x = tilt_y = 0.0
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
        grip *= _grip_ratio(time_s, state[i] + c * x - s * y, body)
        scale = grip / np.sqrt(slip * slip + CREEP_M_S**2)
        per_load[j, 0], per_load[j, 1], per_load[j, 2] = scale * slip_x, -scale * vy, scale * slip * slip
        if kind == at.ROLLING_FREE:
            drag = body[at.ROLLING] * vx / np.sqrt(vx * vx + CREEP_M_S**2)
            per_load[j, 0] -= drag
            per_load[j, 2] += drag * vx
        per_load[j, 3] = roll
        # Loads lie on a plane a + b x + c y over the contacts; balances of force, pitch and tilt give a, b, c.
        pitch, tilt = -height * per_load[j, 0] - x, y + height * per_load[j, 1]
        sum_x += x
        sum_y += y
        pitch_1 += pitch
        pitch_x += pitch * x
        pitch_y += pitch * y
        tilt_1 += tilt
        tilt_x += tilt * x
        tilt_y += tilt * y
    # Over a crest (negative bend) the way curves downwards and takes load off, over a hollow it presses.
    total = max(body[at.MASS] * (gravity * cos_t + placed[at.BEND] * state[i + 3] ** 2) - pz, 0.0)
    lift, roll_over = -(hz * px - hx * pz), -(hy * pz - hz * py)
    level, slope_x, slope_y = solve_three(
        (4.0, sum_x, sum_y, total), (pitch_1, pitch_x, pitch_y, lift), (tilt_1, tilt_x, tilt_y, roll_over)
    )
    least, carrying = 1e30, 0.0
    for j in range(4):
        x, y = body[at.CONTACT_0 + 3 * j] - com_x, body[at.CONTACT_0 + 3 * j + 1] - body[at.COM_Y]
        loads[j] = level + slope_x * x + slope_y * y
        least = min(least, loads[j])
        loads[j] = max(loads[j], 0.0)
        carrying += loads[j]
    force_x = force_y = moment = 0.0  # of the ground
    torque[:] = 0.0
    traction = driven_load = loss = used = 0.0
    for j in range(4):
        load = loads[j] * total / carrying if carrying > 0.0 else 0.0
        x, y = body[at.CONTACT_0 + 3 * j] - com_x, body[at.CONTACT_0 + 3 * j + 1] - body[at.COM_Y]
        fx, fy = load * per_load[j, 0], load * per_load[j, 1]
        force_x += fx
        force_y += fy
        moment += x * fy - y * fx
        loss += load * per_load[j, 2]
        if body[at.CONTACT_0 + 3 * j + 2] == at.DRIVEN:
            side = 0 if y + body[at.COM_Y] >= 0.0 else 1
            resistance = load * per_load[j, 3]
            torque[side] -= radius * (fx + resistance)
            loss += radius * resistance * state[i + 6 + side]
            traction += fx + resistance
            driven_load += load
            used += np.sqrt(fx * fx + fy * fy)
    tension = np.sqrt(pull[0] ** 2 + pull[1] ** 2 + pull[2] ** 2)
    if body[at.HOLDING] > 0.0:
        ahead = forward - com_rate
        hold = _base_holds_N(time_s, px, tension, k, match) / np.sqrt(ahead * ahead + left * left + CREEP_M_S**2)
        force_x -= hold * ahead
        force_y -= hold * left
        loss += hold * (ahead * ahead + left * left)
    arm_power = 0.0
    if arm_speed > 0.0:
        # What moves the arm works against its inertia, and against what pulls at the hitch and pushes at the wheels.
        way = body[at.ARM_WAY]
        inertia = body[at.ARM_MASS] * (1.0 - body[at.ARM_MASS] / body[at.MASS])
        needed = inertia * arm_accel * way - px * (body[at.ARM_HITCHED] - way * carried) + force_x * way * carried
        arm_power = way * arm_speed * needed
    if body[at.WALL_SIDE] != 0.0:
        # Each front corner for itself: a machine that meets the wall askew is turned until it lies flat against it.
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
    weight = body[at.MASS] * gravity
    by_x, by_heading = placed[at.HITCH_BY_X : at.HITCH_BY_X + 3], placed[at.HITCH_BY_HEADING : at.HITCH_BY_HEADING + 3]
    pull_x = pull[0] * by_x[0] + pull[2] * by_x[2]
    pull_turn = pull[0] * by_heading[0] + pull[1] * by_heading[1] + pull[2] * by_heading[2]
    out[i], out[i + 1], out[i + 2] = state[i + 3], state[i + 4], turn
    out[i + 3] = (c * force_x - s * force_y + pull_x - weight * placed[at.RISE_BY_X]) / body[at.MASS]
    out[i + 4] = (s * force_x + c * force_y + pull[1]) / body[at.MASS]
    out[i + 5] = (moment + pull_turn - weight * placed[at.RISE_BY_HEADING]) / body[at.YAW_INERTIA]
    power, surface = arm_power + tension * read_rise(time_s, match.winding[k]), 0.0
    turning = 0.0
    for side in range(2):
        out[i + 6 + side] = out[i + 8 + side] = 0.0
        if radius > 0.0 and body[at.INERTIA_LEFT + side] > 0.0:
            rate = state[i + 6 + side]
            share = drive_share(time_s - body[at.DELAY], match.throttle[k, side])
            stall = body[at.STALL_LEFT + side] * (1.0 - body[at.LOST_LEFT + side] if time_s >= body[at.LOSS_S] else 1.0)
            given = drive_torque_Nm(rate, share, stall, body[at.FREE_LEFT + side], body[at.ON_VOLTAGE], body[at.SAG])
            strain = state[i + 8 + side]
            against = body[at.FRICTION_LEFT + side] * strain
            if strain < 0.0:  # a brake or a self-locking gear holds against being pulled backwards
                against += body[at.BRAKE] * radius / 2 * strain
            out[i + 8 + side] = (rate - abs(rate) * strain) / FRICTION_STRAIN_RAD
            out[i + 6 + side] = (given - against + torque[side]) / body[at.INERTIA_LEFT + side]
            power += given * rate
            loss += against * rate
            surface += 0.5 * radius * rate
            turning += 0.5 * body[at.INERTIA_LEFT + side] * rate * rate
    results[at.TRACTION], results[at.LOAD] = traction, driven_load
    results[at.SPEED] = forward - com_rate + turn * body[at.COM_Y]
    results[at.SLIP] = surface - results[at.SPEED] if radius > 0.0 else 0.0
    results[at.DRIVE_POWER], results[at.LOSS_POWER], results[at.LEAST_LOAD] = power, loss, least
    results[at.GRIP_USED] = used / driven_load if driven_load > 0.0 else 0.0
    dx, dy = c * com_x - s * body[at.COM_Y], s * com_x + c * body[at.COM_Y]
    results[at.AT_X], results[at.AT_Y] = placed[at.ORIGIN_X], state[i + 1] - dy
    results[at.VELOCITY_X] = state[i + 3] - c * com_rate + turn * dy
    results[at.VELOCITY_Y] = state[i + 4] - s * com_rate - turn * dx
    results[at.SEEN_HEADING] = heading
    if cos_t != 1.0:
        results[at.SEEN_HEADING] += np.arctan2(s, c * cos_t) - np.arctan2(s, c)
    results[at.HITCH_SEEN_X], results[at.HITCH_SEEN_Y] = placed[at.HITCH_AT], placed[at.HITCH_AT + 1]
    results[at.ENERGY] = (
        0.5 * body[at.MASS] * (state[i + 3] ** 2 + state[i + 4] ** 2) + 0.5 * body[at.YAW_INERTIA] * turn * turn
        + turning + weight * placed[at.HEIGHT]
        + 0.5 * body[at.ARM_MASS] * (1.0 - body[at.ARM_MASS] / body[at.MASS]) * arm_speed**2
    )  # fmt: skip


@compiled
def make_room(match: MatchNumbers) -> Room:
    """Room for `state_rates` and its Jacobian; nothing in it is kept from one call to the next."""
    n, way = 2 * at.STATES, np.empty((len(match.crests) + 2, 2))
    return Room(
        np.empty((2, at.PLACED)), np.empty((2, 3)), np.empty((6, 4)), np.empty((2, 2)), way,
        np.empty((2, at.PLACED)), np.empty((2, 3)), np.empty(n), np.empty(n), np.empty(n), np.empty((3, n)),
        np.empty(at.ALL_RESULTS),
    )  # fmt: skip


@compiled_lean
def state_rates(
    time_s: float, state: FloatArray, match: MatchNumbers, out: FloatArray, results: FloatArray, room: Room
) -> None:
    """Set ``out`` (20,), the rates of ``state`` (20,), and ``results`` (ALL_RESULTS,): the rope's, then each body's."""
    placed, pull = room.placed, room.pull
    pull_rope(time_s, state, match, placed, pull, results, room)
    for k in range(2):
        part = results[at.RESULTS_0 + at.RESULTS * k : at.RESULTS_0 + at.RESULTS * (k + 1)]
        if match.bodies[k, at.MASS] > 0.0:
            body_rates(time_s, state, k, match, placed[k], pull[k], out, part, room.work)
        else:
            out[at.STATES * k : at.STATES * (k + 1)] = 0.0
            part[:] = 0.0
