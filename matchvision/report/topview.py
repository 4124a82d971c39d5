"""The table from above: what stands where, frame by frame, in whole millimetres, for the page's drawing and figures."""

import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.results import Analysis
from matchvision.report.readings import side_role

#: What is drawn of the floor around the table [m].
MARGIN_X_M, MARGIN_Y_M = 0.06, 0.035
#: Size that is drawn where the sheet gives none [m].
UNKNOWN_SIZE_M = (0.16, 0.12)


@dataclass(frozen=True)
class Wheelmark:
    """A wheel drawn on a machine's outline: centre, length and width, machine frame, millimetres."""

    x: float
    y: float
    length: float
    width: float


@dataclass(frozen=True)
class Outline:
    """A machine as it is drawn: a box to scale with wheels, hitch and the way it drives, millimetres.

    ``known`` is False where the sheet gives no size and the box is only a stand-in.
    """

    name: str
    role: str
    length: float
    width: float
    known: bool
    hauled: bool
    hitch: tuple[float, float] | None
    wheels: tuple[Wheelmark, ...]


def outline_machines(analysis: Analysis) -> tuple[Outline, ...]:
    """Every machine whose motion is known, as it is drawn."""
    outlines = []
    for name in analysis.motion.machines:
        machine = analysis.run.sheet.machine.get(name)
        size = UNKNOWN_SIZE_M if machine is None or machine.size_m is None else machine.size_m[:2]
        length, width = 1000 * size[0], 1000 * size[1]
        wheels: list[Wheelmark] = []
        if machine is not None and machine.wheel and machine.wheelbase_m is not None:
            radius = 1000 * machine.wheel[0].radius_m
            half = 500 * machine.wheelbase_m
            across = width / 2 - 14
            wheels = [Wheelmark(x, y, 2 * radius, 24) for x in (-half, half) for y in (-across, across)]
        hitch = None
        if machine is not None and machine.hitch is not None:
            hitch = (1000 * machine.hitch.at_m[0], 1000 * machine.hitch.at_m[1])
        outlines.append(
            Outline(
                name=name,
                role=side_role(analysis, name),
                length=length,
                width=width,
                known=machine is not None and machine.size_m is not None,
                hauled=machine is not None and machine.load is not None,
                hitch=hitch,
                wheels=tuple(wheels),
            )
        )
    return tuple(outlines)


def rope_polylines(analysis: Analysis, frames: npt.NDArray[np.int64]) -> list[list[tuple[float, float]]]:
    """The rope in each of the frames as points (x, y) [m], from the first end to the second.

    Beads and link markers in order of arc length, and the hitches where the rope still reaches them. Places that are
    not known are left out.
    """
    motion, rope = analysis.motion, analysis.run.sheet.rope
    if rope is None:
        return [[] for _ in frames]
    plans = motion.tracks.plans
    order = sorted(
        (k for k, p in enumerate(plans) if p.kind in ("bead", "link", "end")),
        key=lambda k: _arc(plans[k].arc_m, plans[k].name, rope.length_m),
    )
    arcs = [_arc(plans[k].arc_m, plans[k].name, rope.length_m) for k in order]
    ends = [hitch_places(analysis, name) for name in rope.ends]
    drawn = []
    for frame in frames:
        points = [
            (float(motion.places.x_m[frame, k]), float(motion.places.y_m[frame, k]), arc)
            for k, arc in zip(order, arcs, strict=True)
            if math.isfinite(motion.places.x_m[frame, k])
        ]
        line = [(x, y) for x, y, _ in points]
        for side, end in enumerate(ends):
            if end is None or not np.isfinite(end[frame]).all():
                continue
            at = (float(end[frame, 0]), float(end[frame, 1]))
            if points:
                near = points[0] if side == 0 else points[-1]
                free_m = near[2] if side == 0 else rope.length_m - near[2]
                # A rope that has left its hitch no longer reaches it; slack in the drawing is allowed for.
                if math.hypot(near[0] - at[0], near[1] - at[1]) > 1.15 * free_m + 0.03:
                    continue
            line = [at, *line] if side == 0 else [*line, at]
        drawn.append(line if len(line) > 1 else [])
    return drawn


def _arc(arc_m: float, name: str, length_m: float) -> float:
    return arc_m if math.isfinite(arc_m) else length_m / 2 + 1e-6 * len(name)


def hitch_places(analysis: Analysis, machine: str) -> FloatArray | None:
    """Where a machine's hitch is on the table, (n, 2) [m]; None where it is not known."""
    moved, described = analysis.motion.machines.get(machine), analysis.run.sheet.machine.get(machine)
    if moved is None or described is None or described.hitch is None:
        return None
    ahead, left = described.hitch.at_m[:2]
    heading = np.radians(moved.heading_deg)
    cos, sin = np.cos(heading), np.sin(heading)
    return np.stack([moved.x_m + ahead * cos - left * sin, moved.y_m + ahead * sin + left * cos], axis=1)


def split_at_line(line: list[tuple[float, float]]) -> dict[str, list[list[tuple[float, float]]]]:
    """A polyline cut at the centre line: pieces on the −x side ("minus") and on the +x side ("plus")."""
    pieces: dict[str, list[list[tuple[float, float]]]] = {"minus": [], "plus": []}
    if not line:
        return pieces
    current = [line[0]]
    for (x0, y0), (x1, y1) in itertools.pairwise(line):
        if (x0 < 0) != (x1 < 0):
            cut = (0.0, y0 + (y1 - y0) * x0 / (x0 - x1))
            pieces["minus" if x0 < 0 else "plus"].append([*current, cut])
            current = [cut]
        current.append((x1, y1))
    pieces["minus" if line[-1][0] < 0 else "plus"].append(current)
    return pieces


def millimetre_path(line: list[tuple[float, float]]) -> str:
    """SVG path of table points, millimetres, y turned to point down the page."""
    return "M" + "L".join(f"{1000 * x:.0f} {-1000 * y:.0f}" for x, y in line) if line else ""
