"""Forces on the bodies of a match and the rates of its state, compiled.

What the table does to a body is in `mechanics.contacts`, what the rope does in `mechanics.pulling`. The drive's own
friction must hold a stopped machine without any creep, for seconds; it is a spring that gives way (P. R. Dahl, A solid
friction model, Aerospace Corp. 1968).
"""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.compiling import built_in, compiled, compiled_lean
from matchvision.mechanics.contacts import bear_loads, grip_contacts, push_of_wall
from matchvision.mechanics.layout import CREEP_M_S, MatchNumbers, Room
from matchvision.mechanics.plans import arm_motion, drive_share, drive_torque_Nm, read_rise, read_table
from matchvision.mechanics.pulling import pull_rope

#: Turn of the wheels [rad] that strains the drive's friction to 63 %: 0.05 mm at the rim.
FRICTION_STRAIN_RAD: Final = 1e-3


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


@built_in
def _drive_sides(
    time_s: float, state: FloatArray, k: int, match: MatchNumbers, torque: FloatArray, out: FloatArray
) -> tuple[float, float, float, float]:
    """Set the rates of both sides' wheels and of the strain of their friction, under the ground's ``torque``.

    Gives the drive's power and what its friction takes of it [W], the mean surface speed [m/s] and the wheels' energy
    of turning [J].
    """
    i, body = at.STATES * k, match.bodies[k]
    radius = body[at.WHEEL_RADIUS]
    power = loss = surface = turning = 0.0
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
    return power, loss, surface, turning


@built_in
def _tell_place(
    state: FloatArray, i: int, c: float, s: float, body: FloatArray, placed: FloatArray, com_x: float, com_rate: float,
    results: FloatArray,
) -> None:  # fmt: skip
    """Set where the body's origin and hitch are seen, how fast the origin goes and how it heads."""
    turn, cos_t = state[i + 5], placed[at.TILT_COS]
    dx, dy = c * com_x - s * body[at.COM_Y], s * com_x + c * body[at.COM_Y]
    results[at.AT_X], results[at.AT_Y] = placed[at.ORIGIN_X], state[i + 1] - dy
    results[at.VELOCITY_X] = state[i + 3] - c * com_rate + turn * dy
    results[at.VELOCITY_Y] = state[i + 4] - s * com_rate - turn * dx
    results[at.SEEN_HEADING] = state[i + 2]
    if cos_t != 1.0:
        results[at.SEEN_HEADING] += np.arctan2(s, c * cos_t) - np.arctan2(s, c)
    results[at.HITCH_SEEN_X], results[at.HITCH_SEEN_Y] = placed[at.HITCH_AT], placed[at.HITCH_AT + 1]


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
    hx = body[at.HITCH_X] + body[at.ARM_WAY] * body[at.ARM_HITCHED] * far - com_x
    hy, hz = body[at.HITCH_Y] - body[at.COM_Y], body[at.HITCH_Z] - body[at.COM_Z]
    radius = body[at.WHEEL_RADIUS]
    per_load, loads, torque = work[0:4], work[4], work[5]
    grip_contacts(time_s, state, i, body, forward, left, com_x, com_rate, per_load)
    # Over a crest (negative bend) the way curves downwards and takes load off, over a hollow it presses.
    total = max(body[at.MASS] * (gravity * cos_t + placed[at.BEND] * state[i + 3] ** 2) - pz, 0.0)
    least = bear_loads(body, com_x, total, -(hz * px - hx * pz), -(hy * pz - hz * py), per_load, loads)
    force_x = force_y = moment = 0.0  # of the ground
    torque[:] = 0.0
    traction = driven_load = loss = used = 0.0
    for j in range(4):
        load = loads[j]
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
    power = tension * read_rise(time_s, match.winding[k])
    if arm_speed > 0.0:
        # What moves the arm works against its inertia, and against what pulls at the hitch and pushes at the wheels.
        way = body[at.ARM_WAY]
        inertia = body[at.ARM_MASS] * (1.0 - body[at.ARM_MASS] / body[at.MASS])
        needed = inertia * arm_accel * way - px * (body[at.ARM_HITCHED] - way * carried) + force_x * way * carried
        power += way * arm_speed * needed
    if body[at.WALL_SIDE] != 0.0:
        wall_x, wall_y, wall_moment, wall_loss = push_of_wall(state, i, body, com_x)
        force_x += wall_x
        force_y += wall_y
        moment += wall_moment
        loss += wall_loss
    weight = body[at.MASS] * gravity
    by_x, by_heading = placed[at.HITCH_BY_X : at.HITCH_BY_X + 3], placed[at.HITCH_BY_HEADING : at.HITCH_BY_HEADING + 3]
    pull_x = pull[0] * by_x[0] + pull[2] * by_x[2]
    pull_turn = pull[0] * by_heading[0] + pull[1] * by_heading[1] + pull[2] * by_heading[2]
    out[i], out[i + 1], out[i + 2] = state[i + 3], state[i + 4], turn
    out[i + 3] = (c * force_x - s * force_y + pull_x - weight * placed[at.RISE_BY_X]) / body[at.MASS]
    out[i + 4] = (s * force_x + c * force_y + pull[1]) / body[at.MASS]
    out[i + 5] = (moment + pull_turn - weight * placed[at.RISE_BY_HEADING]) / body[at.YAW_INERTIA]
    given, lost, surface, turning = _drive_sides(time_s, state, k, match, torque, out)
    results[at.TRACTION], results[at.LOAD] = traction, driven_load
    results[at.SPEED] = forward - com_rate + turn * body[at.COM_Y]
    results[at.SLIP] = surface - results[at.SPEED] if radius > 0.0 else 0.0
    results[at.DRIVE_POWER], results[at.LOSS_POWER], results[at.LEAST_LOAD] = power + given, loss + lost, least
    results[at.GRIP_USED] = used / driven_load if driven_load > 0.0 else 0.0
    _tell_place(state, i, c, s, body, placed, com_x, com_rate, results)
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
