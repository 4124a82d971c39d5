"""What cannot be true is not kept: markers too far apart, two on one spot, marks off their circle."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matchvision.arrays import FloatArray
from matchvision.markers.naming import CIRCLE_SLACK_RATIO, DISTANCE_SLACK_M, DISTANCE_SLACK_RATIO
from matchvision.markers.poses import Pose
from matchvision.markers.rope import longest_m
from matchvision.markers.widening import MARGIN_PX
from matchvision.records.tracks import MarkerPlan

#: Two markers closer than this share of their radius are one spot.
_SAME_SPOT_RATIO: Final = 0.6


@dataclass(frozen=True)
class Bond:
    """What the distance between two markers can be [m].

    Nearer than ``same_spot_m`` they are one spot, which two of one ``colour`` can be taken for. ``longest_m`` and
    ``drawn`` are of the rope between them: how long it is at most, and whether it is a sprung link. ``rigid_m`` and
    ``slack_m`` are of two on one body.
    """

    same_spot_m: float
    same_colour: bool
    longest_m: float
    drawn: bool
    rigid_m: float
    slack_m: float


class Bonds(dict[tuple[int, int], Bond]):
    """The bond of each pair of columns, worked out when first asked for: the same pairs are asked for every frame."""

    def __init__(self, plans: Sequence[MarkerPlan]) -> None:
        self.plans = plans

    def __missing__(self, pair: tuple[int, int]) -> Bond:
        one, other = (self.plans[i] for i in pair)
        rigid_m = math.hypot(one.at_m[0] - other.at_m[0], one.at_m[1] - other.at_m[1])
        bond = self[pair] = Bond(
            same_spot_m=_SAME_SPOT_RATIO * one.radius_m,
            same_colour=one.colour == other.colour,
            longest_m=longest_m(one, other) + DISTANCE_SLACK_M,
            drawn=one.kind == other.kind == "link",
            rigid_m=rigid_m,
            # Half as wide again as for the first find: a machine that pitches shows its markers nearer or further.
            slack_m=1.5 * (DISTANCE_SLACK_M + DISTANCE_SLACK_RATIO * rigid_m),
        )
        return bond


def doubt_rope(bonds: Bonds, columns: Sequence[int], place_m: FloatArray, jump_px: FloatArray) -> list[int]:
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
            apart, bond = math.hypot(x[a] - x[b], y[a] - y[b]), bonds[a, b]
            too_near = apart < bond.same_spot_m and bond.same_colour
            too_far = apart > bond.longest_m and not (bond.drawn and max(jump_px[a], jump_px[b]) < MARGIN_PX)
            if too_near or too_far:
                wrong.append(a if jump_px[a] > jump_px[b] else b)
        if not wrong:
            break
        worst = max(wrong, key=lambda i: float(jump_px[i]))
        doubted.append(worst)
        kept.remove(worst)
    # Along x, those that could be one spot follow each other closely.
    across = sorted(kept, key=x.__getitem__)
    for n, a in enumerate(across):
        for b in across[n + 1 :]:
            bond = bonds[a, b]
            if x[b] - x[a] >= bond.same_spot_m:
                break
            if bond.same_colour and math.hypot(x[a] - x[b], y[a] - y[b]) < bond.same_spot_m:
                doubted.append(a if jump_px[a] > jump_px[b] else b)
    return doubted


def doubt_bodies(bonds: Bonds, columns: Sequence[int], place_m: FloatArray, jump_px: FloatArray) -> list[int]:
    """Columns of a machine's own markers whose distance from another is not the rigid one."""
    doubted: list[int] = []
    x, y = place_m[columns, 0].tolist(), place_m[columns, 1].tolist()
    for n, a in enumerate(columns):
        for k in range(n + 1, len(columns)):
            b = columns[k]
            bond = bonds[a, b]
            # Of places that are not known, NaN, nothing is doubted.
            if abs(math.hypot(x[n] - x[k], y[n] - y[k]) - bond.rigid_m) > bond.slack_m:
                doubted.append(a if jump_px[a] > jump_px[b] else b)
    return doubted


def wheel_coordinates(plan: MarkerPlan, pose: Pose, place_m: FloatArray) -> tuple[float, float]:
    """Distance from the middle of the wheel's face [m] and wheel angle [rad] of a rim mark at a table place (3,)."""
    x, y, z = place_m.tolist()
    face_x, face_y, face_z = pose.place_one(*plan.at_m)
    forward, up = pose.in_profile(x - face_x, y - face_y, z - face_z)
    return math.hypot(forward, up), math.radians(plan.angle_deg) - math.atan2(up, forward)


def strain_of(bonds: Bonds, bodies: Sequence[int], rims: Sequence[int], place_m: FloatArray, pose: Pose) -> float:
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
        apart, bond = math.hypot(*(place_m[a, :2] - place_m[b, :2]).tolist()), bonds[a, b]
        worst = max(worst, abs(apart - bond.rigid_m) / bond.slack_m)
    for i in rims:
        distance_m, _ = wheel_coordinates(bonds.plans[i], pose, place_m[i])
        worst = max(worst, off_circle(bonds.plans[i], distance_m))
    return worst


def off_circle(plan: MarkerPlan, distance_m: float) -> float:
    """How far off its circle a rim mark lies; beyond 1 it is too far to be one."""
    return abs(distance_m - plan.circle_m) / (CIRCLE_SLACK_RATIO * plan.circle_m)
