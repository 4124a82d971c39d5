"""What cannot be true is not kept: markers too far apart, two on one spot, marks off their circle."""

import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.markers.naming import CIRCLE_SLACK_RATIO, DISTANCE_SLACK_M, DISTANCE_SLACK_RATIO
from matchvision.markers.poses import Pose
from matchvision.markers.rope import longest_m
from matchvision.markers.widening import MARGIN_PX
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

#: Two markers closer than this share of their radius are one spot.
_SAME_SPOT_RATIO: Final = 0.6


def doubt_rope(
    plans: Sequence[MarkerPlan], columns: Sequence[int], place_m: FloatArray, jump_px: FloatArray
) -> list[int]:
    """Columns of rope markers that contradict their neighbours along the rope.

    Of two that lie further apart than the rope between them, or on one spot, the one that jumped further from where it
    was expected is doubted. A sprung link is as long as it is seen to become: where both its markers are found in the
    small windows in which they were expected, they were not drawn further than a link goes, but the link was.

    Parameters
    ----------
    place_m : (m, 3) float array
        Table places, NaN where not seen.
    jump_px : (m,) float array
        Distance from the expected place.
    """
    doubted: list[int] = []
    x, y = place_m[:, 0].tolist(), place_m[:, 1].tolist()
    kept = [i for i in columns if math.isfinite(x[i])]
    while True:
        wrong: list[int] = []
        for a, b in itertools.pairwise(kept):
            apart = math.hypot(x[a] - x[b], y[a] - y[b])
            one, other = plans[a], plans[b]
            same_spot = apart < _SAME_SPOT_RATIO * one.radius_m and one.colour == other.colour
            drawn = one.kind == other.kind == "link" and max(jump_px[a], jump_px[b]) < MARGIN_PX
            if same_spot or (apart > longest_m(one, other) + DISTANCE_SLACK_M and not drawn):
                wrong.append(a if jump_px[a] > jump_px[b] else b)
        if not wrong:
            break
        worst = max(wrong, key=lambda i: float(jump_px[i]))
        doubted.append(worst)
        kept.remove(worst)
    by_colour: dict[str, list[int]] = {}
    for i in kept:
        by_colour.setdefault(plans[i].colour, []).append(i)
    for same in by_colour.values():
        nearest_m = _SAME_SPOT_RATIO * plans[same[0]].radius_m
        doubted += [
            a if jump_px[a] > jump_px[b] else b
            for n, a in enumerate(same)
            for b in same[n + 1 :]
            if abs(x[a] - x[b]) < nearest_m and math.hypot(x[a] - x[b], y[a] - y[b]) < nearest_m
        ]
    return doubted


def doubt_bodies(
    plans: Sequence[MarkerPlan], columns: Sequence[int], place_m: FloatArray, jump_px: FloatArray
) -> list[int]:
    """Columns of a machine's own markers whose distance from another is not the rigid one."""
    doubted: list[int] = []
    x, y = place_m[columns, 0].tolist(), place_m[columns, 1].tolist()
    for n, a in enumerate(columns):
        for k in range(n + 1, len(columns)):
            b = columns[k]
            if not (math.isfinite(x[n]) and math.isfinite(x[k])):
                continue
            rigid = math.hypot(plans[a].at_m[0] - plans[b].at_m[0], plans[a].at_m[1] - plans[b].at_m[1])
            apart = math.hypot(x[n] - x[k], y[n] - y[k])
            if abs(apart - rigid) > _distance_slack_m(rigid):
                doubted.append(a if jump_px[a] > jump_px[b] else b)
    return doubted


def _distance_slack_m(rigid_m: float) -> float:
    """How far off the rigid distance two markers may seem: half as wide again as for the first find."""
    # A machine that pitches a little shows its markers nearer or further.
    return 1.5 * (DISTANCE_SLACK_M + DISTANCE_SLACK_RATIO * rigid_m)


def wheel_coordinates(plan: MarkerPlan, pose: Pose, place_m: FloatArray) -> tuple[float, float]:
    """Distance from the middle of the wheel's face [m] and wheel angle [rad] of a rim mark at a table place (3,)."""
    x, y, z = place_m.tolist()
    face_x, face_y, face_z = pose.place_one(*plan.at_m)
    forward, up = pose.in_profile(x - face_x, y - face_y, z - face_z)
    return math.hypot(forward, up), math.radians(plan.angle_deg) - math.atan2(up, forward)


def strain_of(
    plans: Sequence[MarkerPlan], bodies: Sequence[int], rims: Sequence[int], place_m: FloatArray, pose: Pose
) -> float:
    """How ill a machine's markers go together for one that stands on its wheels; at 1 the worst would be doubted.

    Parameters
    ----------
    bodies, rims : sequences of columns
        Its own markers and rim marks that are seen.
    place_m : (m, 3) float array
        Table places, for a machine that stands.
    pose : Pose
        As those of its own markers have it.
    """
    worst = 0.0
    for a, b in itertools.combinations(bodies, 2):
        rigid = math.hypot(plans[a].at_m[0] - plans[b].at_m[0], plans[a].at_m[1] - plans[b].at_m[1])
        apart = math.hypot(*(place_m[a, :2] - place_m[b, :2]).tolist())
        worst = max(worst, abs(apart - rigid) / _distance_slack_m(rigid))
    for i in rims:
        distance_m, _ = wheel_coordinates(plans[i], pose, place_m[i])
        worst = max(worst, off_circle(plans[i], distance_m))
    return worst


def off_circle(plan: MarkerPlan, distance_m: float) -> float:
    """How far off its circle a rim mark lies; beyond 1 it is too far to be one."""
    return abs(distance_m - plan.circle_m) / (CIRCLE_SLACK_RATIO * plan.circle_m)
