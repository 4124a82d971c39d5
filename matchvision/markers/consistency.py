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
            same_spot = apart < _SAME_SPOT_RATIO * plans[a].radius_m and plans[a].colour == plans[b].colour
            if same_spot or apart > longest_m(plans[a], plans[b]) + DISTANCE_SLACK_M:
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
        places = place_m[same, :2]
        apart_m = np.hypot(places[:, None, 0] - places[None, :, 0], places[:, None, 1] - places[None, :, 1])
        for n, k in zip(*np.nonzero(np.triu(apart_m < _SAME_SPOT_RATIO * plans[same[0]].radius_m, 1)), strict=True):
            doubted.append(same[n] if jump_px[same[n]] > jump_px[same[k]] else same[k])
    return doubted


def doubt_bodies(
    plans: Sequence[MarkerPlan], columns: Sequence[int], place_m: FloatArray, jump_px: FloatArray
) -> list[int]:
    """Columns of a machine's own markers whose distance from another is not the rigid one."""
    doubted: list[int] = []
    for n, a in enumerate(columns):
        for b in columns[n + 1 :]:
            if not (np.isfinite(place_m[a, 0]) and np.isfinite(place_m[b, 0])):
                continue
            rigid = float(np.hypot(plans[a].at_m[0] - plans[b].at_m[0], plans[a].at_m[1] - plans[b].at_m[1]))
            apart = float(np.hypot(place_m[a, 0] - place_m[b, 0], place_m[a, 1] - place_m[b, 1]))
            # Half as wide again as for the first find: a pitching machine shows its markers nearer or further.
            if abs(apart - rigid) > 1.5 * (DISTANCE_SLACK_M + DISTANCE_SLACK_RATIO * rigid):
                doubted.append(a if jump_px[a] > jump_px[b] else b)
    return doubted


def wheel_coordinates(plan: MarkerPlan, pose: Pose, place_m: FloatArray) -> tuple[float, float]:
    """Distance from the middle of the wheel's face [m] and wheel angle [rad] of a rim mark at a table place (3,)."""
    off = place_m - pose.place(np.array(plan.at_m))
    forward, up = float(off @ pose.forward), float(off @ pose.up)
    return math.hypot(forward, up), math.radians(plan.angle_deg) - math.atan2(up, forward)


def is_off_circle(plan: MarkerPlan, distance_m: float) -> bool:
    """Whether a rim mark lies too far off its circle to be one."""
    return abs(distance_m - plan.circle_m) > CIRCLE_SLACK_RATIO * plan.circle_m
