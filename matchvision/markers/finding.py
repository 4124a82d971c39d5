"""The first find: all markers anywhere over the table, named, in one frame."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.blobs import Blobs, find_blobs, measure_neutral, outline_table
from matchvision.markers.colours import Palette, make_palette
from matchvision.markers.naming import NamedMachine, name_machines
from matchvision.markers.poses import Pose
from matchvision.markers.rope import RopeEnds, name_rope
from matchvision.records.camera import Camera
from matchvision.records.frames import Frame
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan


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
    blobs = find_blobs(frame, palette, mask, camera)
    machines = name_machines(plans, blobs, palette, camera, sheet)
    spots: dict[int, int] = {}
    for machine in machines.values():
        spots |= machine.spots
    columns = rope_columns(plans)
    if columns:
        ends = rope_ends(sheet, {n: m.pose for n, m in machines.items()})
        spots |= name_rope(plans, columns, blobs, palette, camera, ends, taken=set(spots.values()))
    return Found(blobs, spots, machines, neutral)


def rope_columns(plans: Sequence[MarkerPlan]) -> list[int]:
    """Columns of the rope's markers in order along the rope."""
    return [i for i, p in enumerate(plans) if p.kind in {"bead", "link"}]


def rope_ends(sheet: RunSheet, poses: Mapping[str, Pose]) -> RopeEnds:
    """Where the rope's ends are hitched, as far as the machines' poses are known."""
    if sheet.rope is None:
        return RopeEnds(None, None, 1.0)
    first, last = (_hitch_place(sheet, poses, end) for end in sheet.rope.ends)
    homes = [sheet.machine[end].home if end in sheet.machine else "" for end in sheet.rope.ends]
    towards = 1.0 if homes[0] == "-x" or homes[1] == "+x" else -1.0 if homes[0] == "+x" or homes[1] == "-x" else 0.0
    return RopeEnds(first, last, sheet.rope.length_m, towards)


def _hitch_place(sheet: RunSheet, poses: Mapping[str, Pose], end: str) -> FloatArray | None:
    machine = sheet.machine.get(end)
    if machine is None or machine.hitch is None or end not in poses:
        return None
    return np.array(poses[end].place_one(*machine.hitch.at_m))


def marker_heights(plans: Sequence[MarkerPlan], sheet: RunSheet) -> FloatArray:
    """Height at which each marker is placed on the table (m,) [m]; the rope as if it were taut between its hitches."""
    standing = {name: Pose(0.0, 0.0, 0.0) for name in sheet.machine}
    heights = np.array([p.at_m[2] for p in plans], dtype=np.float64)
    columns = rope_columns(plans)
    if columns:
        heights[columns] = rope_ends(sheet, standing).height_at(np.array([plans[i].arc_m for i in columns]))
    return heights
