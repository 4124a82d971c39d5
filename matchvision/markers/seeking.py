"""Markers lost, or names in doubt: what a fresh look at the whole frame may change."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_at_height
from matchvision.markers.finding import Found, rope_ends
from matchvision.markers.rope import contradicts_ends
from matchvision.records.camera import Camera
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan

#: A spot this near a marker in sight is that marker [px].
_SAME_PLACE_PX: Final = 6.0
#: A machine read at less cost than this is beyond doubt.
_SURE_COST: Final = 5.0
#: Share of a rope's markers that a fresh look must name to be believed by itself.
_NEARLY_ALL_RATIO: Final = 0.8


def agreeing_columns(plans: Sequence[MarkerPlan], found: Found, seen_px: FloatArray, lost: Sequence[int]) -> list[int]:
    """Lost markers that a look at the whole frame may bring back.

    The look must name the markers in sight of the same machine, or of the rope, as they are named already. Where fewer
    than two are in sight, it must itself be beyond doubt: all of a machine's own markers, nearly all of the rope's.

    Parameters
    ----------
    seen_px : (m, 2) float array
        Places of the markers in sight, NaN elsewhere.
    """
    new: list[int] = []
    for group in dict.fromkeys(plans[i].machine for i in lost):
        columns = [i for i, p in enumerate(plans) if p.machine == group]
        seen = [i for i in columns if np.isfinite(seen_px[i, 0])]
        agree = [
            i
            for i in seen
            if i in found.spots and np.hypot(*(found.blobs.place_px[found.spots[i]] - seen_px[i])) < _SAME_PLACE_PX
        ]
        if len(seen) >= 2:
            sure = len(agree) >= _NEARLY_ALL_RATIO * len(seen)
        elif group:
            bodies = [i for i in columns if plans[i].kind == "body"]
            sure = len(agree) == len(seen) and group in found.machines
            sure = sure and all(i in found.spots for i in bodies) and found.machines[group].cost < _SURE_COST
        else:
            sure = len(agree) == len(seen) and sum(i in found.spots for i in columns) >= _NEARLY_ALL_RATIO * len(
                columns
            )
        if sure:
            new += [i for i in lost if i in found.spots and plans[i].machine == group]
    return new


def name_rope_afresh(
    plans: Sequence[MarkerPlan],
    columns: Sequence[int],
    found: Found,
    camera: Camera,
    sheet: RunSheet,
    height_m: FloatArray,
) -> list[int]:
    """Columns of rope markers whose names in a fresh look are to be believed against those kept so far.

    Nearly all markers must be named, both hitches known, and the rope must reach both: names shifted along the rope are
    put right, while a hitch that let go changes nothing.

    Parameters
    ----------
    height_m : (m,) float array
        Height at which each marker is placed on the table.
    """
    named = [i for i in columns if i in found.spots]
    ends = rope_ends(sheet, {n: m.pose for n, m in found.machines.items()})
    if len(named) < _NEARLY_ALL_RATIO * len(columns) or ends.first_m is None or ends.last_m is None:
        return []
    place_m = np.full((len(plans), 3), np.nan)
    spots_px = found.blobs.place_px[[found.spots[i] for i in named]]
    place_m[named] = place_at_height(camera.parameters, spots_px, height_m[named])
    return [] if contradicts_ends(plans, columns, place_m, ends) else named
