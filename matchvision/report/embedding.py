"""The numbers that the page keeps inside itself, so that the drawn rope can be pulled through the run."""

import json
import math
from base64 import b64encode
from typing import Any

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.results import Analysis
from matchvision.report.charts import Chart
from matchvision.report.curves import Panel
from matchvision.report.readings import (
    AROUND_S,
    match_times,
    place_of_run,
    rope_middle,
    rope_share,
    ruled_rope,
    side_name,
)
from matchvision.report.slots import mark_slot
from matchvision.report.topview import outline_machines, rope_polylines

#: A page moves through no more moments than this; longer clips are thinned.
MOST_MOMENTS = 900


def chosen_frames(analysis: Analysis) -> npt.NDArray[np.int64]:
    """Frames that the page can show: around the match, evenly thinned."""
    t_s = match_times(analysis)
    inside = np.flatnonzero((t_s >= -AROUND_S) & (t_s <= analysis.clock.duration_s + AROUND_S))
    if len(inside) == 0:
        inside = np.arange(len(t_s))
    stride = math.ceil(len(inside) / MOST_MOMENTS)
    return inside[::stride].astype(np.int64)


def deciding_moment(analysis: Analysis, frames: npt.NDArray[np.int64]) -> int:
    """Index among ``frames`` of the moment that is shown first: when the clock stops."""
    ruling = analysis.verdict.ruling
    at_s = analysis.clock.duration_s if ruling is None else ruling.decided_at_s
    if not math.isfinite(at_s):
        at_s = analysis.clock.duration_s
    return int(np.abs(match_times(analysis)[frames] - at_s).argmin())


def page_data(analysis: Analysis, panels: list[tuple[Panel, Chart]], has_clip: bool) -> dict[str, Any]:
    """Everything that the page's script needs, as plain lists; NaN becomes null."""
    frames = chosen_frames(analysis)
    motion, clock = analysis.motion, analysis.clock
    machines = []
    for outline in outline_machines(analysis):
        moved = motion.machines[outline.name]
        machines.append(
            {
                "name": outline.name,
                "x": numbers(1000 * moved.x_m[frames], 1),
                "y": numbers(1000 * moved.y_m[frames], 1),
                "h": numbers(moved.heading_deg[frames], 1),
            }
        )
    lines = rope_polylines(analysis, frames)
    place = place_of_run(analysis)[1][frames]
    data: dict[str, Any] = {
        "t": numbers(match_times(analysis)[frames], 4),
        "clip": numbers(motion.clip_s[frames] - motion.clip_s[0], 4),  # the marked clip starts where the run does
        "start": 0.0,
        "end": clock.duration_s,
        "shown": deciding_moment(analysis, frames),
        "decided": None,
        "sides": [side_name(analysis, "-x"), side_name(analysis, "+x")],
        "machines": machines,
        "rope": [[round(1000 * v) for point in line for v in point] for line in lines],
        "place": numbers(1000 * place, 1),
        "hasClip": has_clip,
        "charts": [
            {
                "key": chart.key,
                "unit": panel.unit,
                "scale": list(chart.scale),
                "curves": [
                    {"y": numbers(c.per_frame[0][frames], 4), "u": numbers(c.per_frame[1][frames], 4)}
                    for c in panel.measured
                    if c.per_frame is not None
                ],
            }
            for panel, chart in panels
        ],
    }
    if motion.rope is not None:
        middle, u_middle = rope_middle(motion.rope)
        share, u_share = rope_share(motion.rope)
        columns = {
            "middle": 1000 * middle[frames],
            "uMiddle": 1000 * u_middle[frames],
            "share": 100 * share[frames],
            "uShare": 100 * u_share[frames],
        }
        ruled = ruled_rope(analysis, int(frames[data["shown"]]))
        if ruled is not None and analysis.verdict.ruling is not None:
            data["decided"] = round(analysis.verdict.ruling.decided_at_s, 4)
            told = (1000 * ruled[0][0], 1000 * ruled[0][1], 100 * ruled[1][0], 100 * ruled[1][1])
            for column, value in zip(columns.values(), told, strict=True):
                column[data["shown"]] = value
        # More digits than are shown: what is rounded twice can differ from the verdict by one in the last place.
        data |= {name: numbers(column, 4) for name, column in columns.items()}
    return data


def numbers(column: FloatArray, decimals: int) -> list[float | None]:
    """A column rounded for the page; what is not known becomes None."""
    return [round(float(v), decimals) if math.isfinite(v) else None for v in column]


def embed(data: dict[str, Any]) -> str:
    """Data as JSON that cannot end the script element it stands in, whatever names it holds."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False, ensure_ascii=True)
    for sign, escaped in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026"), ("'", "\\u0027")):
        text = text.replace(sign, escaped)
    return text


def hold_clip(clip: bytes) -> dict[str, str]:
    """The slot of the page that holds the marked clip, so that it plays without a file beside it.

    It stands at the page's end, as text that the script turns into a clip once the page is painted.
    """
    text = b64encode(clip).decode("ascii")
    return {"clip": mark_slot("clip", f'<script type="application/base64" id="held-clip">{text}</script>')}
