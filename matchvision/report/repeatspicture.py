"""One picture of repeats: each run a dot with its 95 % interval, each group its mean, one strip a quantity."""

import math
from collections.abc import Callable, Sequence
from html import escape
from typing import Final

from matchvision.records.repeats import RepeatGroup, Repeats
from matchvision.report.charts import nice_ticks, tick_text
from matchvision.report.palette import LIGHT
from matchvision.report.readings import COVERAGE
from matchvision.report.repeatswords import name_row, shown_unit

#: Narrow, so that its words keep their size on a phone; beside the sentences it fills half of a wide page.
_WIDTH: Final = 440
_RIGHT: Final = 428
#: Where the scale begins: beside the names of two groups, or without any.
_LEFT_NAMED: Final = 56
_LEFT_PLAIN: Final = 12
#: Height of a group's lane, of a strip's heading and of its axis.
_LANE: Final = 40
_HEAD: Final = 30
_AXIS: Final = 34
#: Runs of one lane are set apart so that their intervals do not cover each other.
_SPREAD: Final = 11
_ROLES: Final = ("minus", "plus")


def draw_repeats(rows: Sequence[Repeats], colours: dict[str, str] | None = None, *, headed: bool = True) -> str:
    """The picture as SVG.

    Parameters
    ----------
    rows : quantities, each on a scale of its own.
    colours : role -> colour; None leaves them to the page's own custom properties.
    headed : each strip under its name; else that stands on the page already.

    Notes
    -----
    Checked by: tests/report/test_repeatspage.py::test_every_run_is_a_dot_in_the_picture
    """
    parts, top = [], 0.0
    for row in rows:
        above = 0 if headed else _HEAD - 10
        height = _HEAD + _LANE * len(row.groups) + _AXIS - above
        parts.append(f'<g transform="translate(0 {top - above:g})">{_strip(row, headed=headed)}</g>')
        top += height
    paint = {role: f"var(--{role})" for role in LIGHT} if colours is None else colours
    body = "".join(parts)
    for role, colour in paint.items():
        body = body.replace(f'"@{role}"', f'"{colour}"')
    paper = "" if colours is None else f'<rect width="{_WIDTH}" height="{top:g}" fill="{colours["card"]}"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {top:g}" role="img" '
        f'aria-label="Every run and every mean with its 95 % interval" '
        f'font-family="system-ui, \'DejaVu Sans\', sans-serif" font-size="13">{paper}{body}</svg>'
    )


def _strip(row: Repeats, *, headed: bool) -> str:
    factor, unit = shown_unit(row.unit)
    low, high = _limits(row, factor)
    start = _LEFT_NAMED if len(row.groups) > 1 else _LEFT_PLAIN

    def at(value: float) -> float:
        return start + (_RIGHT - start) * (factor * value - low) / (high - low)

    bottom = _HEAD + _LANE * len(row.groups)
    title = f"{name_row(row)}{f' / {unit}' if unit else ''}"
    parts = [f'<text x="0" y="18" font-weight="650" fill="@ink">{escape(title)}</text>'] if headed else []
    ticks = nice_ticks(low, high, 5)
    parts.append(f'<path d="M{start} {bottom}H{_RIGHT}" stroke="@ink" fill="none"/>')
    for tick in ticks:
        x = at(tick / factor)
        parts.append(f'<path d="M{x:.1f} {_HEAD - 6}V{bottom + 4}" stroke="@rule" fill="none"/>')
        parts.append(
            f'<text x="{x:.1f}" y="{bottom + 19}" text-anchor="middle" font-size="12.5" fill="@soft">'
            f"{tick_text(tick, ticks)}</text>"
        )
    for lane, group in enumerate(row.groups):
        label = "" if len(row.groups) == 1 else ("before", "after")[lane]
        parts.append(_lane(group, label, _HEAD + _LANE * lane + _LANE / 2, at, _ROLES[lane % 2]))
    return "".join(parts)


def _lane(group: RepeatGroup, label: str, middle: float, at: Callable[[float], float], role: str) -> str:
    parts = []
    if math.isfinite(group.half_95):
        left, right = at(group.mean - group.half_95), at(group.mean + group.half_95)
        parts.append(
            f'<rect x="{left:.1f}" y="{middle - 15:g}" width="{max(right - left, 1):.1f}" height="30" '
            f'fill="@{role}-tint"/>'
        )
        x = at(group.mean)
        parts.append(f'<path d="M{x:.1f} {middle - 16:g}v32" stroke="@{role}" stroke-width="2.5" fill="none"/>')
    n = len(group.readings)
    apart = {one.run for one in group.stragglers}
    for k, one in enumerate(group.readings):
        y = middle + (0 if n == 1 else _SPREAD * (2 * k / (n - 1) - 1))
        x = at(one.value)
        if math.isfinite(one.u):
            half = at(one.value + COVERAGE * one.u) - x
            parts.append(
                f'<path d="M{x - half:.1f} {y:.1f}h{2 * half:.1f}" stroke="@{role}" stroke-width="1.4" fill="none"/>'
            )
        fill = "card" if one.run in apart else role
        parts.append(
            f'<circle class="run" cx="{x:.1f}" cy="{y:.1f}" r="3.6" fill="@{fill}" stroke="@{role}" stroke-width="1.6">'
            f"<title>{escape(one.run)}</title></circle>"
        )
    if label:
        parts.append(f'<text x="0" y="{middle + 4.5:g}" font-size="13" font-weight="650" fill="@{role}">{label}</text>')
    return "".join(parts)


def _limits(row: Repeats, factor: float) -> tuple[float, float]:
    """Limits that hold every run with its interval and every mean with its own, unless that is far wider than all."""
    lows, highs = [], []
    for group in row.groups:
        for one in group.readings:
            half = COVERAGE * one.u if math.isfinite(one.u) else 0.0
            lows.append(one.value - half)
            highs.append(one.value + half)
    span = max(highs) - min(lows) or abs(highs[0]) or 1.0
    for group in row.groups:
        half = group.half_95 if math.isfinite(group.half_95) else 0.0
        lows.append(max(group.mean - half, min(lows) - span))
        highs.append(min(group.mean + half, max(highs) + span))
    low, high = min(lows), max(highs)
    room = 0.06 * (high - low) or 0.5 * abs(high) or 1.0
    return factor * (low - room), factor * (high + room)
