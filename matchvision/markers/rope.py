"""Which spot is which marker on the rope: order, colours and arc lengths, between what the ends are hitched to."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_at_height
from matchvision.markers.blobs import Blobs
from matchvision.markers.colours import Palette
from matchvision.records.camera import Camera
from matchvision.records.tracks import MarkerPlan

#: Markers on a taut rope may seem this much further apart than along the rope [share], [m].
LONGER_RATIO = 0.06
LONGER_M = 0.012
#: A sprung link may stretch to this share of its length under no load, as far as nobody has seen it stretch further.
LINK_STRETCH_RATIO = 1.8
#: Cost of a marker without a spot, of a fully folded piece, and of an end that is not where it is hitched.
_COST_MISSED = 3.0
_COST_FOLDED = 5.0
_COST_LOOSE_END = 5.0
#: Cost of a piece that leads away from where the rope's other end must be.
_COST_BACKWARD = 0.3
#: Beyond this a marker next to a hitch cannot bear its name, or the hitch has let go [m].
_END_SLACK_M = 0.03


@dataclass(frozen=True, eq=False)
class RopeEnds:
    """Where the rope is hitched: table places (3,) [m] of arc length 0 and of the whole length, None if unknown.

    ``towards`` is the sign of x along the rope from its first end, by the machines' homes; 0 if unknown.
    """

    first_m: FloatArray | None
    last_m: FloatArray | None
    length_m: float
    towards: float = 0.0

    def height_at(self, arc_m: FloatArray) -> FloatArray:
        """Height of a taut rope between the hitches [m], (n,); a likely one where a hitch is unknown."""
        known = [float(e[2]) for e in (self.first_m, self.last_m) if e is not None] or [0.05]
        first = known[0] if self.first_m is not None else known[-1]
        last = known[-1] if self.last_m is not None else known[0]
        share = np.clip(np.nan_to_num(np.asarray(arc_m, dtype=np.float64) / self.length_m, nan=0.5), 0, 1)
        return np.asarray(first + share * (last - first), dtype=np.float64)


def longest_m(first: MarkerPlan, second: MarkerPlan) -> float:
    """How far apart two rope markers can lie at most [m]; infinite where an arc length is unknown."""
    arc = abs(second.arc_m - first.arc_m)
    if not math.isfinite(arc):
        return math.inf
    allowance = LONGER_M + (1 + LONGER_RATIO) * arc
    if first.kind == "link" and second.kind == "link":
        return allowance + (LINK_STRETCH_RATIO - 1) * arc
    return allowance


def name_rope(
    plans: Sequence[MarkerPlan],
    columns: Sequence[int],
    blobs: Blobs,
    palette: Palette,
    camera: Camera,
    ends: RopeEnds,
    taken: set[int],
) -> dict[int, int]:
    """Spot by marker column, for the markers of the rope in order of arc length.

    The cheapest chain of spots of the right colours is found by dynamic programming. Neighbours may not lie further
    apart than the rope between them; they may lie closer, where it is slack, at a cost.

    Parameters
    ----------
    columns : sequence of int
        Columns of rope markers, by rising arc length.
    taken : set of int
        Spots that belong to machines.
    """
    places, owners, marks = _candidates(plans, columns, blobs, palette, camera, ends, taken)
    if not marks:
        return {}
    position = {i: n for n, i in enumerate(columns)}
    order = np.array([position[i] for i in owners])
    stretch = _link_stretch(plans, columns)
    arcs = np.array([plans[i].arc_m for i in owners])
    steps = _step_costs(plans, columns, places, order, arcs, ends.towards)
    cost = _COST_MISSED * order + _end_costs(places, ends.first_m, arcs + stretch)
    before = np.full(len(marks), -1, dtype=np.int64)
    for n in range(len(marks)):
        through = cost[:n] + steps[:n, n]
        for m in np.argsort(through).tolist():
            if through[m] >= cost[n]:
                break
            if not _uses(marks[n], m, marks, before):
                cost[n], before[n] = through[m], m
                break
    cost += _COST_MISSED * (len(columns) - 1 - order)
    cost += _end_costs(places, ends.last_m, ends.length_m - arcs + stretch)
    n = int(np.argmin(cost))
    if cost[n] >= _COST_MISSED * len(columns):
        return {}
    named: dict[int, int] = {}
    while n >= 0:
        named[owners[n]] = marks[n]
        n = int(before[n])
    return named


def _step_costs(
    plans: Sequence[MarkerPlan],
    columns: Sequence[int],
    places: FloatArray,
    order: npt.NDArray[np.int64],
    arcs: FloatArray,
    towards: float,
) -> FloatArray:
    """Cost of going from candidate m to candidate n along the rope, (m, n); infinite where that cannot be."""
    link_arcs = [plans[i].arc_m for i in columns if plans[i].kind == "link"]
    stretch = np.zeros((len(arcs), len(arcs)))
    if len(link_arcs) == 2:
        before_link, after_link = arcs <= min(link_arcs) + 1e-9, arcs >= max(link_arcs) - 1e-9
        stretch[before_link[:, None] & after_link[None]] = _link_stretch(plans, columns)
    apart = places[None] - places[:, None]
    cost = _piece_costs(np.hypot(apart[..., 0], apart[..., 1]), arcs[None] - arcs[:, None], stretch)
    cost += _COST_BACKWARD * (towards * apart[..., 0] < 0)
    skipped = order[None] - order[:, None] - 1
    return np.asarray(np.where(skipped >= 0, cost + _COST_MISSED * skipped, np.inf), dtype=np.float64)


def contradicts_ends(plans: Sequence[MarkerPlan], columns: Sequence[int], place_m: FloatArray, ends: RopeEnds) -> bool:
    """Whether the outermost markers in sight lie further from a hitch than the rope between allows.

    Either the names are shifted along the rope or the hitch has let go.

    Parameters
    ----------
    place_m : (m, 3) float array
        Table places, NaN where not seen.
    """
    x_m = place_m[:, 0].tolist()
    seen = [i for i in columns if math.isfinite(x_m[i]) and math.isfinite(plans[i].arc_m)]
    if not seen:
        return False
    stretch = _link_stretch(plans, columns)
    for i, hitch_m, arc_m in (
        (seen[0], ends.first_m, plans[seen[0]].arc_m),
        (seen[-1], ends.last_m, ends.length_m - plans[seen[-1]].arc_m),
    ):
        if hitch_m is not None:
            apart = math.dist(place_m[i, :2].tolist(), hitch_m[:2].tolist())
            if apart > (1 + LONGER_RATIO) * arc_m + LONGER_M + _END_SLACK_M + stretch:
                return True
    return False


def _uses(spot: int, end: int, marks: Sequence[int], before: npt.NDArray[np.int64]) -> bool:
    """Whether the best chain up to a candidate already uses a spot."""
    n = end
    while n >= 0:
        if marks[n] == spot:
            return True
        n = int(before[n])
    return False


def _candidates(
    plans: Sequence[MarkerPlan],
    columns: Sequence[int],
    blobs: Blobs,
    palette: Palette,
    camera: Camera,
    ends: RopeEnds,
    taken: set[int],
) -> tuple[FloatArray, list[int], list[int]]:
    """Table places (n, 2), marker columns and spots of all (marker, spot) pairs of one colour, by marker order."""
    places: list[FloatArray] = []
    owners: list[int] = []
    marks: list[int] = []
    arcs = np.array([plans[i].arc_m for i in columns])
    for i, height_m in zip(columns, ends.height_at(arcs), strict=True):
        if plans[i].colour not in palette.names or not len(blobs.area_px):
            continue
        fits = (blobs.colour == palette.names.index(plans[i].colour)) & blobs.suit(plans[i].radius_m)
        there = place_at_height(camera.parameters, blobs.place_px, float(height_m))[:, :2]
        for k in np.flatnonzero(fits):
            if int(k) not in taken:
                places.append(there[k])
                owners.append(i)
                marks.append(int(k))
    return np.array(places).reshape(-1, 2), owners, marks


def _link_stretch(plans: Sequence[MarkerPlan], columns: Sequence[int]) -> float:
    """How much longer than unloaded a link in the rope may be [m]."""
    arcs = [plans[i].arc_m for i in columns if plans[i].kind == "link"]
    apart_m = max(arcs) - min(arcs) if len(arcs) == 2 else 0.0
    return (LINK_STRETCH_RATIO - 1) * apart_m if math.isfinite(apart_m) else 0.0


def _piece_costs(distance_m: FloatArray, arc_m: FloatArray, stretch_m: FloatArray | float) -> FloatArray:
    """Cost of pieces of rope of an arc length between places at a distance; infinite where the rope is too short."""
    over = distance_m - arc_m - stretch_m
    allowance = LONGER_M + LONGER_RATIO * np.maximum(arc_m, 0)
    longer = np.maximum(0.0, over) / allowance
    shorter = np.maximum(0.0, 1 - distance_m / np.maximum(arc_m, 1e-3))
    cost = longer**2 + np.minimum(_COST_FOLDED, (shorter / 0.25) ** 2)
    cost = np.where(over > allowance, np.inf, cost)
    return np.asarray(np.where(np.isfinite(arc_m), cost, 1.0), dtype=np.float64)


def _end_costs(place_m: FloatArray, hitch_m: FloatArray | None, arc_m: FloatArray) -> FloatArray:
    if hitch_m is None:
        return np.zeros(len(place_m))
    cost = np.minimum(_COST_LOOSE_END, _piece_costs(np.hypot(*(place_m - hitch_m[:2]).T), arc_m, 0.0))
    return np.where(np.isfinite(arc_m), cost, 0.0)
