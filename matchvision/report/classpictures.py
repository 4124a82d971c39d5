"""Pictures of a class: predicted against measured for everybody at once, and whether stated uncertainties come true."""

import math
from collections.abc import Callable, Sequence
from html import escape
from typing import Final

import numpy as np

from matchvision.records.classbook import ChanceBin, Coverage, Pair
from matchvision.report.charts import nice_ticks, tick_text
from matchvision.report.readings import COVERAGE
from matchvision.report.repeatswords import shown_unit, told

#: Side of the square field, and where it begins.
_SIDE: Final = 520
_LEFT: Final = 70
_TOP: Final = 14
#: Share of the points at either end that may lie beyond the field; they are drawn at its edge.
_WILD_PERCENT: Final = 1.0


def draw_pairs(pairs: Sequence[Pair]) -> str:
    """Predicted (across) against measured (up) of one quantity as SVG, a point a team and run with its 95 % bars.

    Every point carries its team in ``data-team`` and its numbers as a title.

    Notes
    -----
    Checked by: tests/report/test_classpage.py::test_every_pair_is_a_point_in_the_picture
    """
    factor, unit = shown_unit(pairs[0].unit)
    low, high = _limits(pairs, factor)
    scale = _SIDE / (high - low)

    def along(value: float) -> float:
        return _LEFT + scale * (min(max(factor * value, low), high) - low)

    def down(value: float) -> float:
        return _TOP + _SIDE - scale * (min(max(factor * value, low), high) - low)

    ticks = nice_ticks(low, high, 6)
    name = f" / {escape(unit)}" if unit else ""
    parts = [
        f'<rect x="{_LEFT}" y="{_TOP}" width="{_SIDE}" height="{_SIDE}" class="field"/>',
        f'<path class="exact" d="M{_LEFT} {_TOP + _SIDE}L{_LEFT + _SIDE} {_TOP}"/>',
    ]
    for tick in ticks:
        x, y = along(tick / factor), down(tick / factor)
        parts.append(f'<path class="grid" d="M{x:.1f} {_TOP}v{_SIDE}M{_LEFT} {y:.1f}h{_SIDE}"/>')
        parts.append(f'<text x="{x:.1f}" y="{_TOP + _SIDE + 17}" text-anchor="middle">{tick_text(tick, ticks)}</text>')
        parts.append(f'<text x="{_LEFT - 7}" y="{y + 4:.1f}" text-anchor="end">{tick_text(tick, ticks)}</text>')
    parts += [_point(pair, along, down) for pair in pairs]
    middle = _TOP + _SIDE / 2
    parts.append(
        f'<text x="{_LEFT + _SIDE / 2}" y="{_TOP + _SIDE + 38}" text-anchor="middle" class="axis">'
        f"predicted{name}</text>"
    )
    parts.append(
        f'<text transform="translate(16 {middle}) rotate(-90)" text-anchor="middle" class="axis">measured{name}</text>'
    )
    width, height = _LEFT + _SIDE + 14, _TOP + _SIDE + 46
    said = f"{pairs[0].quantity}: {len(pairs)} forecasts, predicted against measured"
    return f'<svg viewBox="0 0 {width} {height}" role="img" aria-label="{escape(said)}">{"".join(parts)}</svg>'


def _point(pair: Pair, along: Callable[[float], float], down: Callable[[float], float]) -> str:
    x, y = along(pair.predicted), down(pair.measured)
    bars = ""
    if pair.u_predicted > 0:
        half = COVERAGE * pair.u_predicted
        bars += f"M{along(pair.predicted - half):.1f} {y:.1f}H{along(pair.predicted + half):.1f}"
    if pair.u_measured > 0:
        half = COVERAGE * pair.u_measured
        bars += f"M{x:.1f} {down(pair.measured - half):.1f}V{down(pair.measured + half):.1f}"
    where = "open" if not math.isfinite(pair.zeta) else "off" if abs(pair.zeta) > COVERAGE else "held"
    said = (
        f"{pair.team}, {pair.id}: predicted {told(pair.predicted, COVERAGE * pair.u_predicted, pair.unit)}, "
        f"measured {told(pair.measured, COVERAGE * pair.u_measured, pair.unit)}"
    )
    return (
        f'<g class="pair {where}" data-team="{escape(pair.team)}"><title>{escape(said)}</title><path d="{bars}"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.4"/></g>'
    )


def _limits(pairs: Sequence[Pair], factor: float) -> tuple[float, float]:
    """Common limits of both axes; bars may run out of the field, points may not but for a few wild ones."""
    values = factor * np.array([v for pair in pairs for v in (pair.predicted, pair.measured)])
    low, high = (float(v) for v in np.percentile(values, [_WILD_PERCENT, 100 - _WILD_PERCENT]))
    if len(values) < 50:
        low, high = float(values.min()), float(values.max())
    room = 0.06 * (high - low) or abs(high) or 1.0
    return low - room, high + room


def draw_coverage(rows: Sequence[Coverage], bins: Sequence[ChanceBin]) -> str:
    """Two small fields as SVG: stated coverage against how often the truth lay inside, stated chances against wins."""
    left = [(row.stated, row.inside, row.low, row.high) for row in rows]
    right = [(one.stated, one.won / one.count, one.low, one.high) for one in bins]
    fields = [
        _share_field(60, "intervals stated to hold", "held what was measured", left),
        _share_field(390, "chance to win as forecast", "won", right),
    ]
    said = "Stated uncertainties and chances against what happened"
    return f'<svg viewBox="0 0 680 320" role="img" aria-label="{said}">{"".join(fields)}</svg>'


def _share_field(left: int, across: str, up: str, points: Sequence[tuple[float, float, float, float]]) -> str:
    side, top = 250, 12

    def x_of(share: float) -> float:
        return left + side * share

    def y_of(share: float) -> float:
        return top + side * (1 - share)

    parts = [
        f'<rect x="{left}" y="{top}" width="{side}" height="{side}" class="field"/>',
        f'<path class="exact" d="M{left} {top + side}l{side} {-side}"/>',
    ]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        parts.append(f'<text x="{x_of(share)}" y="{top + side + 16}" text-anchor="middle">{100 * share:.0f}</text>')
        parts.append(f'<text x="{left - 6}" y="{y_of(share) + 4}" text-anchor="end">{100 * share:.0f}</text>')
    for stated, happened, low, high in points:
        parts.append(f'<path class="bar" d="M{x_of(stated):.1f} {y_of(low):.1f}V{y_of(high):.1f}"/>')
        parts.append(f'<circle class="dot" cx="{x_of(stated):.1f}" cy="{y_of(happened):.1f}" r="4.5"/>')
    if not points:
        parts.append(f'<text x="{left + side / 2}" y="{top + side / 2 - 12}" text-anchor="middle">nothing yet</text>')
    parts.append(
        f'<text class="axis" x="{left + side / 2}" y="{top + side + 38}" text-anchor="middle">{across} / %</text>'
    )
    parts.append(
        f'<text class="axis" transform="translate({left - 40} {top + side / 2}) rotate(-90)" '
        f'text-anchor="middle">{up} / %</text>'
    )
    return "".join(parts)
