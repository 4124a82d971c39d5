"""The table from above at the moment that decides, as the pages' templates need it."""

import math
from typing import Any

import numpy as np

from matchvision.records.results import Analysis
from matchvision.report.embedding import chosen_frames, deciding_moment
from matchvision.report.readings import side_name
from matchvision.report.topview import (
    MARGIN_X_M,
    MARGIN_Y_M,
    millimetre_path,
    outline_machines,
    rope_polylines,
    split_at_line,
)


def home_words(analysis: Analysis, home: str) -> str:
    """What stands on that half of the table."""
    name = side_name(analysis, home)
    machine = analysis.run.sheet.machine.get(name)
    if machine is None:
        return name
    return f"side of {name}" if machine.load is not None else f"home of {name}"


def draw_table(analysis: Analysis) -> dict[str, Any]:
    """What the template needs for the table from above; lengths in millimetres, y pointing down the page."""
    table = analysis.run.sheet.table
    length, width = 1000 * table.length_m, 1000 * table.width_m
    frames = chosen_frames(analysis)
    shown = deciding_moment(analysis, frames)
    frame = frames[shown : shown + 1]
    rope = split_at_line(rope_polylines(analysis, frame)[0])
    outlines = outline_machines(analysis)
    poses = []
    for outline in outlines:
        moved = analysis.motion.machines[outline.name]
        values = (moved.x_m[frame[0]], moved.y_m[frame[0]], moved.heading_deg[frame[0]])
        x_m, y_m, heading_deg = (float(v) if np.isfinite(v) else 0.0 for v in values)
        poses.append(f"translate({1000 * x_m:.0f} {-1000 * y_m:.0f}) rotate({-heading_deg:.1f})")
    marks = np.arange(math.ceil(-table.length_m / 2 / 0.2) * 0.2, table.length_m / 2 + 1e-9, 0.2)
    margin_x, margin_y = 1000 * MARGIN_X_M, 1000 * MARGIN_Y_M
    return {
        "length": length,
        "width": width,
        "box": (-length / 2 - margin_x, -width / 2 - margin_y, length + 2 * margin_x, width + 2 * margin_y),
        "tags": [(1000 * t.centre_m[0], -1000 * t.centre_m[1], 1000 * t.side_m, -t.angle_deg) for t in table.tag],
        "machines": list(zip(outlines, poses, strict=True)),
        "rope": {side: "".join(millimetre_path(p) for p in pieces) for side, pieces in rope.items()},
        "ticks": [(f"{m:.1f}".replace("-", "−") if abs(m) > 1e-9 else "0", 1000 * m) for m in marks],
        "has_rope": analysis.motion.rope is not None,
        "ridge": bool(table.profile_m),
    }
