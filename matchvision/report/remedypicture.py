"""Pull, speed and chance against each lever, as small pictures that a student reads from top to bottom."""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Final

from matchvision.records.remedies import LeverPoint
from matchvision.report.charts import nice_ticks, tick_text
from matchvision.report.readings import COVERAGE
from matchvision.uncertainty import format_chance

LEVER_WORDS: Final = {
    "gear": ("Gear ratio", ""),
    "grip": ("Grip", ""),
    "weight": ("Weight to the front", "mm"),
    "arm": ("Time of the arm", "s"),
    "start": ("Start sooner", "s"),
}
#: Colour roles of what limits the pull.
LIMIT_ROLES: Final = {"motor": "drive", "grip": "minus", "weight": "warn"}
WIDTH, HEIGHT, LEFT, RIGHT, TOP, GAP = 300.0, 96.0, 46.0, 8.0, 16.0, 22.0


def draw_lever(points: Sequence[LeverPoint], neutral: float, chosen: float | None) -> str:
    """One lever as SVG: pull, speed and chance to win over its settings.

    ``neutral`` is the setting as it was, ``chosen`` the smallest that turns the verdict (None: none does). The pull's
    line is coloured by what limits it.
    """
    scale = 1000.0 if points[0].unit == "m" else 1.0
    xs = [scale * p.value for p in points]
    by_setting = {p.setting: x for p, x in zip(points, xs, strict=True)}
    low, high = min(xs), max(xs)

    def col(value: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (value - low) / ((high - low) or 1.0)

    rows = (
        ("pull it can hold / N", [p.pull_N for p in points], [p.u_pull_N for p in points], None),
        (
            "mean speed home / mm/s",
            [1000 * p.speed_m_s for p in points],
            [1000 * p.u_speed_m_s for p in points],
            None,
        ),
        ("chance to win / %", [100 * p.win_chance for p in points], [0.0] * len(points), (0.0, 100.0)),
    )
    parts = []
    top = TOP
    for name, values, spreads, limits in rows:
        parts.append(_panel(name, xs, values, spreads, limits, top, col, points if "pull" in name else None))
        top += HEIGHT + GAP
    bottom = top - GAP
    was = by_setting.get(neutral, xs[len(xs) // 2])
    parts.append(f'<path class="was" d="M{col(was):.1f} {TOP}V{bottom:.1f}"/>')
    if chosen is not None:
        at = _value_at(points, scale, chosen)
        parts.append(f'<path class="chosen" d="M{col(at):.1f} {TOP}V{bottom:.1f}"/>')
    ticks = nice_ticks(low, high, 4)
    for tick in ticks:
        text = tick_text(tick, ticks)
        parts.append(f'<text class="tick" x="{col(tick):.1f}" y="{bottom + 14:.1f}" text-anchor="middle">{text}</text>')
    word, unit = LEVER_WORDS[points[0].lever]
    label = f"{word} / {unit}" if unit else word
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts.append(f'<text class="title" x="{middle:.1f}" y="{bottom + 30:.1f}" text-anchor="middle">{label}</text>')
    size = f"0 0 {WIDTH:.0f} {bottom + 38:.0f}"
    said = f"{label}: {_summary(points)}"
    return f'<svg class="lever" viewBox="{size}" role="img" aria-label="{said}">{"".join(parts)}</svg>'


def _panel(
    name: str,
    xs: Sequence[float],
    values: Sequence[float],
    spreads: Sequence[float],
    limits: tuple[float, float] | None,
    top: float,
    col: Callable[[float], float],
    coloured: Sequence[LeverPoint] | None,
) -> str:
    """One small chart: its name, its frame and two numbers at its edge, band and line."""
    halves = [COVERAGE * u if math.isfinite(u) else 0.0 for u in spreads]
    known = [(v, h) for v, h in zip(values, halves, strict=True) if math.isfinite(v)]
    low = min([v - h for v, h in known], default=0.0) if limits is None else limits[0]
    high = max([v + h for v, h in known], default=1.0) if limits is None else limits[1]
    pad = 0.06 * ((high - low) or 1.0) if limits is None else 0.0
    low, high = low - pad, high + pad

    def row(value: float) -> float:
        return top + HEIGHT * (1 - (min(max(value, low), high) - low) / ((high - low) or 1.0))

    out = [f'<text class="title" x="{LEFT}" y="{top - 4:.1f}">{name}</text>']
    out.append(f'<path class="frame" d="M{LEFT} {top}V{top + HEIGHT}H{WIDTH - RIGHT}"/>')
    ticks = nice_ticks(low, high, 3)
    for tick in ticks:
        text = tick_text(tick, ticks)
        out.append(f'<text class="tick" x="{LEFT - 5}" y="{row(tick) + 4:.1f}" text-anchor="end">{text}</text>')
        out.append(f'<path class="grid" d="M{LEFT} {row(tick):.1f}H{WIDTH - RIGHT}"/>')
    inside = [i for i, v in enumerate(values) if math.isfinite(v)]
    if any(halves[i] > 0 for i in inside):
        there = "L".join(f"{col(xs[i]):.1f} {row(values[i] + halves[i]):.1f}" for i in inside)
        back = "L".join(f"{col(xs[i]):.1f} {row(values[i] - halves[i]):.1f}" for i in reversed(inside))
        out.append(f'<path class="band" d="M{there}L{back}Z"/>')
    for i, j in pairwise(inside):
        role = LIMIT_ROLES.get(coloured[i].limit, "ink") if coloured is not None else "ink"
        start = f"M{col(xs[i]):.1f} {row(values[i]):.1f}"
        out.append(f'<path class="line {role}" d="{start}L{col(xs[j]):.1f} {row(values[j]):.1f}"/>')
    if limits is not None:
        out.append(f'<path class="goal" d="M{LEFT} {row(90):.1f}H{WIDTH - RIGHT}"/>')
    return "".join(out)


def _value_at(points: Sequence[LeverPoint], scale: float, setting: float) -> float:
    """The value of a setting between those that were tried, by straight lines."""
    for one, other in pairwise(points):
        if one.setting <= setting <= other.setting:
            part = (setting - one.setting) / ((other.setting - one.setting) or 1.0)
            return scale * (one.value + part * (other.value - one.value))
    return scale * points[-1].value


def _summary(points: Sequence[LeverPoint]) -> str:
    """The picture in words, for who hears the page."""
    best = max(points, key=lambda p: p.win_chance)
    strongest = max(points, key=lambda p: p.pull_N)
    return (
        f"the greatest pull is {strongest.pull_N:.1f} N at {strongest.value:.3g}, the best chance to win "
        f"{format_chance(best.win_chance)} at {best.value:.3g}"
    )
