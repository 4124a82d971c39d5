"""The rope's pull on both hitches, compiled: a one-sided spring along the taut way, over crests that are in it."""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.compiling import compiled_lean
from matchvision.mechanics.layout import (
    FAR_Z,
    HITCH_AT,
    HITCH_VELOCITY,
    MASS,
    PLUS_SHARE,
    RELEASE_S,
    ROPE_DAMPING,
    ROPE_LENGTH,
    ROPE_LOSS,
    ROPE_STIFFNESS,
    STRETCH,
    TENSION,
    MatchNumbers,
    Room,
)
from matchvision.mechanics.placing import place_body
from matchvision.mechanics.plans import read_rise, read_table

#: Stretch [m] over which the rope's damping sets in, so that a rope that just comes taut is not hit.
DAMPING_ONSET_M: Final = 1e-4


@compiled_lean
def find_taut_way(ends: FloatArray, crests: FloatArray, way: FloatArray) -> int:
    """Corners in x and z of the upper hull from the first hitch over the crests to the second, into ``way``; how many.

    ``ends`` (2, 2) and ``crests`` (c, 2) hold x and z, ``way`` (c + 2, 2).
    """
    sign = 1.0 if ends[1, 0] >= ends[0, 0] else -1.0
    way[0, 0], way[0, 1] = ends[0, 0], ends[0, 1]
    corners = 1
    for n in range(len(crests) + 1):
        if n == len(crests):
            point_x, point_z = ends[1, 0], ends[1, 1]
        else:
            row = n if sign > 0.0 else len(crests) - 1 - n
            point_x, point_z = crests[row, 0], crests[row, 1]
            if sign * (point_x - ends[0, 0]) <= 0.0 or sign * (ends[1, 0] - point_x) <= 0.0:
                continue
        while corners > 1:
            x, z = way[corners - 1, 0] - way[corners - 2, 0], way[corners - 1, 1] - way[corners - 2, 1]
            if sign * (x * (point_z - way[corners - 2, 1]) - z * (point_x - way[corners - 2, 0])) < 0.0:
                break
            corners -= 1
        way[corners, 0], way[corners, 1] = point_x, point_z
        corners += 1
    return corners


@compiled_lean
def _share_on_plus(way: FloatArray, corners: int) -> float:
    """Share of the way, in x and z, that lies beyond x = 0."""
    whole = plus = 0.0
    for n in range(1, corners):
        x0, x1 = way[n - 1, 0], way[n, 0]
        piece = np.sqrt((x1 - x0) ** 2 + (way[n, 1] - way[n - 1, 1]) ** 2)
        whole += piece
        low, high = min(x0, x1), max(x0, x1)
        if low >= 0.0:
            plus += piece
        elif high > 0.0:
            plus += piece * high / (high - low)
    return plus / whole if whole > 0.0 else 0.5


@compiled_lean
def _place_far_end(time_s: float, match: MatchNumbers, out: FloatArray) -> None:
    """The rope's other end as it was measured, by straight lines; it rests before and after."""
    far = match.far
    row = int(np.searchsorted(far[:, 0], time_s, side="right"))
    out[HITCH_VELOCITY] = out[HITCH_VELOCITY + 1] = out[HITCH_VELOCITY + 2] = 0.0
    out[HITCH_AT + 2] = match.rope[FAR_Z]
    if time_s < far[0, 0] or time_s > far[-1, 0]:
        row = min(row, len(far) - 1)
        out[HITCH_AT], out[HITCH_AT + 1] = far[row, 1], far[row, 2]
        return
    row = min(row, len(far) - 1)
    lasts_s, since_s = far[row, 0] - far[row - 1, 0], time_s - far[row - 1, 0]
    for n in range(2):
        out[HITCH_VELOCITY + n] = (far[row, 1 + n] - far[row - 1, 1 + n]) / lasts_s
        out[HITCH_AT + n] = far[row - 1, 1 + n] + out[HITCH_VELOCITY + n] * since_s


@compiled_lean
def pull_rope(
    time_s: float, state: FloatArray, match: MatchNumbers, placed: FloatArray, pull: FloatArray, results: FloatArray,
    room: Room,
) -> None:  # fmt: skip
    """Set ``placed`` (2, PLACED), ``pull`` (2, 3), the force on each body's hitch [N], and the rope's ``results``."""
    rope = match.rope
    pull[:] = 0.0
    results[TENSION] = results[STRETCH] = results[ROPE_LOSS] = results[PLUS_SHARE] = 0.0
    for k in range(2):
        if match.bodies[k, MASS] > 0.0:
            place_body(time_s, state, k, match, placed[k])
    held = len(match.far) > 0
    if held:
        _place_far_end(time_s, match, placed[1])
    elif match.bodies[1, MASS] == 0.0:
        return
    if match.bodies[0, MASS] == 0.0 or rope[ROPE_STIFFNESS] == 0.0:
        return
    a, b = placed[0], placed[1]
    dy = b[HITCH_AT + 1] - a[HITCH_AT + 1]
    # Directions in x and z in which the rope leaves its ends.
    x0, z0 = b[HITCH_AT] - a[HITCH_AT], b[HITCH_AT + 2] - a[HITCH_AT + 2]
    hull = np.sqrt(x0 * x0 + z0 * z0)
    x1, z1 = -x0, -z0
    first = last = hull
    if len(match.crests) > 0:
        ends, way = room.ends, room.way
        for k in range(2):
            ends[k, 0], ends[k, 1] = placed[k, HITCH_AT], placed[k, HITCH_AT + 2]
        corners = find_taut_way(ends, match.crests, way)
        results[PLUS_SHARE] = _share_on_plus(way, corners)
        x0, z0 = way[1, 0] - way[0, 0], way[1, 1] - way[0, 1]
        x1, z1 = way[corners - 2, 0] - way[corners - 1, 0], way[corners - 2, 1] - way[corners - 1, 1]
        hull = 0.0
        for n in range(1, corners):
            hull += np.sqrt((way[n, 0] - way[n - 1, 0]) ** 2 + (way[n, 1] - way[n - 1, 1]) ** 2)
        first, last = np.sqrt(x0 * x0 + z0 * z0), np.sqrt(x1 * x1 + z1 * z1)
    span = np.sqrt(hull * hull + dy * dy)
    wound = read_table(time_s, match.winding[0]) + read_table(time_s, match.winding[1])
    stretch = span - rope[ROPE_LENGTH] + wound
    if time_s >= rope[RELEASE_S]:
        return
    results[STRETCH] = stretch
    if stretch <= 0.0:
        return
    # Unrolled over the crests the rope is one straight line: its sideways part is the same all along.
    level, across = hull / span, dy / span
    pull[0, 0], pull[0, 1], pull[0, 2] = level * x0 / first, across, level * z0 / first
    pull[1, 0], pull[1, 1], pull[1, 2] = level * x1 / last, -across, level * z1 / last
    rate = read_rise(time_s, match.winding[0]) + read_rise(time_s, match.winding[1])
    for k in range(2):
        for n in range(3):
            rate -= pull[k, n] * placed[k, HITCH_VELOCITY + n]
    damping = rope[ROPE_DAMPING] * rate * (1.0 - np.exp(-stretch / DAMPING_ONSET_M))
    tension = max(rope[ROPE_STIFFNESS] * stretch + damping, 0.0)
    for k in range(2):
        for n in range(3):
            pull[k, n] *= tension
    results[TENSION] = tension
    results[ROPE_LOSS] = rate * (tension - rope[ROPE_STIFFNESS] * stretch)
    if held:
        for n in range(3):  # what the rope does to whoever holds its other end is lost to this match
            results[ROPE_LOSS] += pull[1, n] * placed[1, HITCH_VELOCITY + n]
