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
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

#: Two markers closer than this share of their radius are one spot.
_SAME_SPOT_RATIO: Final = 0.6


def doubt_rope(
    plans: Sequence[MarkerPlan], columns: Sequence[int], place_m: FloatArray, jump_px: FloatArray
) -> list[int]:
    """Columns of rope markers that contradict their neighbours along the rope.

    Of two that lie further apart than the rope between them, or on one spot, the one that jumped further from where it
    was expected is doubted.

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
            if same_spot or apart > longest_m(one, other) + DISTANCE_SLACK_M:
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
            # Half as wide again as for the first find: a pitching machine shows its markers nearer or further.
            if abs(apart - rigid) > 1.5 * (DISTANCE_SLACK_M + DISTANCE_SLACK_RATIO * rigid):
                doubted.append(a if jump_px[a] > jump_px[b] else b)
    return doubted


def wheel_coordinates(plan: MarkerPlan, pose: Pose, place_m: FloatArray) -> tuple[float, float]:
    """Distance from the middle of the wheel's face [m] and wheel angle [rad] of a rim mark at a table place (3,)."""
    x, y, z = place_m.tolist()
    face_x, face_y, face_z = pose.place_one(*plan.at_m)
    x, y, z = x - face_x, y - face_y, z - face_z
    cosine, sine = math.cos(pose.heading_rad), math.sin(pose.heading_rad)
    level, rise = math.cos(pose.slope_rad), math.sin(pose.slope_rad)
    forward, up = cosine * level * x + sine * y + cosine * rise * z, level * z - rise * x
    return math.hypot(forward, up), math.radians(plan.angle_deg) - math.atan2(up, forward)


def is_off_circle(plan: MarkerPlan, distance_m: float) -> bool:
    """Whether a rim mark lies too far off its circle to be one."""
    return abs(distance_m - plan.circle_m) > CIRCLE_SLACK_RATIO * plan.circle_m
