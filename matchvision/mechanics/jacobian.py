"""How the rates of a match change with its state, compiled."""

from typing import Final

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.compiling import compiled_lean
from matchvision.mechanics.dynamics import FRICTION_STRAIN_RAD, body_rates
from matchvision.mechanics.layout import MatchNumbers, Room
from matchvision.mechanics.pulling import pull_rope

#: Change of a pull [N] by which its effect on a body is differenced.
PULL_STEP_N: Final = 1e-3


@compiled_lean
def _take(values: FloatArray, out: FloatArray) -> None:
    """Copy (2, 3) pulls; an assignment between arrays asks for memory."""
    for k in range(2):
        for c in range(3):
            out[k, c] = values[k, c]


@compiled_lean
def _find_effect_of_pull(time_s: float, state: FloatArray, k: int, match: MatchNumbers, room: Room) -> None:
    """What a pull on body ``k``'s hitch changes of its rates, into ``room.by_pull``; its rates into ``room.base``."""
    first = at.RESULTS_0 + at.RESULTS * k
    part, work, placed = room.results[first : first + at.RESULTS], room.work, room.placed[k]
    body_rates(time_s, state, k, match, placed, room.pull[k], room.base, part, work)
    for c in range(3):
        if not (room.results[at.TENSION] > 0.0 or room.results[at.STRETCH] > -1e-6):
            for i in range(at.STATES * k, at.STATES * (k + 1)):
                room.by_pull[c, i] = 0.0
            continue
        _take(room.pull, room.other)
        room.other[k, c] += PULL_STEP_N
        body_rates(time_s, state, k, match, placed, room.other[k], room.moved, part, work)
        for i in range(at.STATES * k, at.STATES * (k + 1)):
            room.by_pull[c, i] = (room.moved[i] - room.base[i]) / PULL_STEP_N


@compiled_lean
def rates_jacobian(time_s: float, state: FloatArray, match: MatchNumbers, room: Room, jacobian: FloatArray) -> None:
    """Set ``jacobian`` (20, 20) of `dynamics.state_rates`, by forward differences well below the creep speed.

    A body's state moves the other body by the rope's pull alone, whose effect is differenced once. The strain of a
    drive's friction acts on its own wheels alone and in proportion: its column is written down.
    """
    n = len(state)
    for i in range(n):
        room.state[i] = state[i]
        for j in range(n):
            jacobian[i, j] = 0.0
    pull_rope(time_s, state, match, room.placed, room.pull, room.results, room)
    for k in range(2):
        if match.bodies[k, at.MASS] > 0.0:
            _find_effect_of_pull(time_s, state, k, match, room)
            continue
        for c in range(3):  # whoever holds the rope's other end does not feel it
            for i in range(at.STATES * k, at.STATES * (k + 1)):
                room.by_pull[c, i] = 0.0
    for i in range(n):
        k, number = i // at.STATES, i % at.STATES
        body, first = match.bodies[k], at.STATES * k
        if body[at.MASS] <= 0.0:
            continue
        side = number % 2
        if number >= 6 and (body[at.WHEEL_RADIUS] <= 0.0 or body[at.INERTIA_LEFT + side] <= 0.0):
            continue
        if number >= 8:
            against = body[at.FRICTION_LEFT + side]
            if state[i] < 0.0:
                against += body[at.BRAKE] * body[at.WHEEL_RADIUS] / 2
            jacobian[i, i] = -abs(state[i - 2]) / FRICTION_STRAIN_RAD
            jacobian[i - 2, i] = -against / body[at.INERTIA_LEFT + side]
            continue
        room.state[i] = state[i] + (1e-7 if number < 6 else 1e-6)
        step = room.state[i] - state[i]
        _take(room.pull, room.other)
        for j in range(at.PLACED):
            room.stood[k, j] = room.placed[k, j]
        if number < 6:
            pull_rope(time_s, room.state, match, room.stood, room.other, room.results, room)
        # On a level table of one surface a body's place matters to the rope alone.
        level = match.stand.shape[1] == 0 and body[at.STRETCH_RATIO] == 1.0 and body[at.WALL_SIDE] == 0.0
        if number < 2 and level:
            for c in range(3):
                change = (room.other[k, c] - room.pull[k, c]) / step
                for j in range(first, first + at.STATES):
                    jacobian[j, i] += room.by_pull[c, j] * change
        else:
            part = room.results[at.RESULTS_0 + at.RESULTS * k : at.RESULTS_0 + at.RESULTS * (k + 1)]
            body_rates(time_s, room.state, k, match, room.stood[k], room.other[k], room.moved, part, room.work)
            for j in range(first, first + at.STATES):
                jacobian[j, i] = (room.moved[j] - room.base[j]) / step
        for c in range(3):
            change = (room.other[1 - k, c] - room.pull[1 - k, c]) / step
            if change != 0.0:
                theirs = at.STATES * (1 - k)
                for j in range(theirs, theirs + at.STATES):
                    jacobian[j, i] += room.by_pull[c, j] * change
        room.state[i] = state[i]
