"""The first find: all markers anywhere over the table, named, in one frame."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.markers.blobs import Blobs, find_blobs, measure_neutral, outline_table
from matchvision.markers.colours import Palette, make_palette
from matchvision.markers.naming import NamedMachine, Pose, name_machines
from matchvision.markers.rope import RopeEnds, name_rope
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan

FloatArray = npt.NDArray[np.float64]

#: A spot this near a marker in sight is that marker [px].
_SAME_PLACE_PX: Final = 6.0
#: A machine read at less cost than this is beyond doubt.
_SURE_COST: Final = 5.0


@dataclass(frozen=True, eq=False)
class Found:
    """What a look at the whole frame gave: spots, the spot of each named marker, and the machines as read."""

    blobs: Blobs
    spots: Mapping[int, int]
    machines: Mapping[str, NamedMachine]
    neutral: FloatArray


def find_all(frame: Frame, camera: Camera, plans: Sequence[MarkerPlan], sheet: RunSheet, palette: Palette) -> Found:
    """Find and name the markers of a frame without knowing where they were before."""
    mask = outline_table(camera, sheet.table)
    neutral = measure_neutral(frame, mask)
    palette = make_palette(palette.names, palette.direction * palette.strength[:, None], neutral)
    blobs = find_blobs(frame, palette, mask)
    machines = name_machines(plans, blobs, palette, camera, sheet)
    spots: dict[int, int] = {}
    for machine in machines.values():
        spots |= machine.spots
    columns = rope_columns(plans)
    if columns:
        ends = rope_ends(sheet, {n: m.pose for n, m in machines.items()})
        spots |= name_rope(plans, columns, blobs, palette, camera, ends, taken=set(spots.values()))
    return Found(blobs, spots, machines, neutral)


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
            sure = len(agree) >= 0.8 * len(seen)
        elif group:
            bodies = [i for i in columns if plans[i].kind == "body"]
            sure = len(agree) == len(seen) and group in found.machines
            sure = sure and all(i in found.spots for i in bodies) and found.machines[group].cost < _SURE_COST
        else:
            sure = len(agree) == len(seen) and sum(i in found.spots for i in columns) >= 0.8 * len(columns)
        if sure:
            new += [i for i in lost if i in found.spots and plans[i].machine == group]
    return new


def rope_columns(plans: Sequence[MarkerPlan]) -> list[int]:
    """Columns of the rope's markers in order along the rope."""
    return [i for i, p in enumerate(plans) if p.kind in {"bead", "link"}]


def rope_ends(sheet: RunSheet, poses: Mapping[str, Pose]) -> RopeEnds:
    """Where the rope's ends are hitched, as far as the machines' poses are known."""
    if sheet.rope is None:
        return RopeEnds(None, None, 1.0)
    first, last = (_hitch_place(sheet, poses, end) for end in sheet.rope.ends)
    return RopeEnds(first, last, sheet.rope.length_m)


def _hitch_place(sheet: RunSheet, poses: Mapping[str, Pose], end: str) -> FloatArray | None:
    machine = sheet.machine.get(end)
    if machine is None or machine.hitch is None or end not in poses:
        return None
    return poses[end].place(np.array(machine.hitch.at_m))
