"""Panels as charts for the page: curves in a stretchable SVG, numbers and names as text beside it.

The drawing stretches with the window while strokes and text keep their size, so that a phone shows the same chart as a
desk, legibly. Charts over the place share the table's own scale and stand under it.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.report.curves import Curve, Panel
from matchvision.uncertainty import format_quantity

#: Size of a chart's own coordinates; the page stretches them.
WIDTH, HEIGHT = 1000.0, 300.0
#: No curve needs more points than this on a page.
MOST_POINTS = 700
_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10)


@dataclass(frozen=True)
class Tick:
    """A number at a place along an axis, in per cent of it (from the left or from the top)."""

    text: str
    at: float


@dataclass(frozen=True)
class Stroke:
    """One drawn thing: a path and the classes that style it."""

    d: str
    kind: str
    role: str


@dataclass(frozen=True)
class KeyEntry:
    """One line of the key: a name and how it is drawn."""

    label: str
    role: str
    predicted: bool


@dataclass(frozen=True)
class Line:
    """A level drawn across, in per cent from the top, with its band's edges."""

    label: str
    role: str
    at: float
    top: float
    bottom: float


@dataclass(frozen=True)
class Chart:
    """All that the template needs to draw one panel."""

    key: str
    title: str
    x_label: str
    y_label: str
    summary: str
    missing: str
    strokes: tuple[Stroke, ...] = ()
    x_ticks: tuple[Tick, ...] = ()
    y_ticks: tuple[Tick, ...] = ()
    lines: tuple[Line, ...] = ()
    entries: tuple[KeyEntry, ...] = ()
    scale: tuple[float, float, float, float] = (0.0, 1.0, 0.0, 1.0)
    followed: tuple[tuple[str, str], ...] = field(default=())


def nice_ticks(low: float, high: float, about: int = 5) -> tuple[float, ...]:
    """Round numbers between two limits, steps of 1, 2 or 5 times a power of ten; at least three: a scale.

    Notes
    -----
    Checked by: tests/report/test_page.py::test_every_scale_has_three_numbers_at_least
    """
    span = high - low
    if not span > 0:
        return (low,)
    raw = span / about
    power = 10.0 ** math.floor(math.log10(raw))
    large = next(k for k, m in enumerate(_STEPS) if m * power >= raw * 0.999)
    for step in (m * power for m in reversed(_STEPS[: large + 1])):
        first = math.ceil(low / step - 1e-9)
        last = math.floor(high / step + 1e-9)
        if last - first >= 2:
            break
    return tuple(k * step for k in range(first, last + 1))


def tick_text(value: float, ticks: tuple[float, ...]) -> str:
    """A tick's number with the decimals that its neighbours need and a true minus sign."""
    step = ticks[1] - ticks[0] if len(ticks) > 1 else max(abs(value), 1.0)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return f"{value:.{decimals}f}".replace("-", "−") if abs(value) > 1e-12 else "0"


def y_limits(panel: Panel) -> tuple[float, float]:
    """Limits that hold curves, bands and levels; single wild values are let go."""
    lows, highs = [], []
    for curve in panel.curves:
        usual = np.nan_to_num(curve.U95, nan=0.0)
        known = np.isfinite(curve.y) & (curve.x >= panel.judged[0]) & (curve.x <= panel.judged[1])
        if not known.any():
            continue
        lows.append(float(np.percentile((curve.y - usual)[known], 0.5)))
        highs.append(float(np.percentile((curve.y + usual)[known], 99.5)))
        lows.append(float(np.percentile(curve.y[known], 0.2)))
        highs.append(float(np.percentile(curve.y[known], 99.8)))
    for level in panel.levels:
        lows.append(level.y - level.U95)
        highs.append(level.y + level.U95)
    if panel.unit != "%":
        lows.append(0.0)
    if not lows:
        return 0.0, 1.0
    low, high = min(lows), max(highs)
    room = 0.08 * (high - low) or 1.0
    # Above, the numbers of the events find their place.
    return (low - room if low < 0 or panel.unit == "%" else low), high + 2 * room


def draw_chart(panel: Panel, x_limits: tuple[float, float]) -> Chart:
    """A panel as a chart between the given limits of x."""
    if panel.missing and not panel.curves:
        return Chart(panel.key, panel.title, panel.x_label, panel.y_label, "", panel.missing)
    low, high = y_limits(panel)
    x_low, x_high = x_limits
    strokes: list[Stroke] = []
    for curve in (*(c for c in panel.curves if c.predicted), *panel.measured):
        kind = "predicted" if curve.predicted else "measured"
        x, y, U95 = thin_out(curve)
        col = (x - x_low) / (x_high - x_low) * WIDTH
        scale = HEIGHT / (high - low)
        strokes.append(Stroke(band_path(col, (high - y) * scale, U95 * scale), f"band {kind}", curve.role))
        strokes.append(Stroke(line_path(col, (high - y) * scale), f"line {kind}", curve.role))
    x_ticks, y_ticks = nice_ticks(x_low, x_high, 6), nice_ticks(low, high, 4)
    lines = tuple(
        Line(v.label, v.role, _down(v.y, low, high), _down(v.y + v.U95, low, high), _down(v.y - v.U95, low, high))
        for v in panel.levels
    )
    return Chart(
        key=panel.key,
        title=panel.title,
        x_label=panel.x_label,
        y_label=panel.y_label,
        summary=summarise(panel),
        missing=panel.missing,
        strokes=tuple(s for s in strokes if s.d),
        x_ticks=tuple(Tick(tick_text(v, x_ticks), 100 * (v - x_low) / (x_high - x_low)) for v in x_ticks),
        y_ticks=tuple(Tick(tick_text(v, y_ticks), _down(v, low, high)) for v in y_ticks if _down(v, low, high) > 6),
        lines=lines,
        entries=tuple(KeyEntry(c.label, c.role, c.predicted) for c in panel.curves),
        scale=(x_low, x_high, low, high),
        followed=tuple((c.label, c.role) for c in panel.measured),
    )


def _down(y: float, low: float, high: float) -> float:
    return 100 * (high - y) / (high - low)


def summarise(panel: Panel) -> str:
    """The panel in a sentence, for those who hear the page instead of seeing it."""
    parts = []
    for curve in panel.measured:
        known = np.isfinite(curve.y) & (curve.x >= panel.judged[0]) & (curve.x <= panel.judged[1])
        if known.any():
            k = int(np.argmax(np.where(known, curve.y, -np.inf)))
            greatest = format_quantity(float(curve.y[k]), float(curve.U95[k]), panel.unit)
            parts.append(f"{curve.label}: greatest {greatest} at {curve.x[k]:.2f} ({panel.x_label})")
    return f"{panel.title}. " + "; ".join(parts)


def thin_out(curve: Curve) -> tuple[FloatArray, FloatArray, FloatArray]:
    """At most `MOST_POINTS` points of a curve, evenly chosen, the greatest and the least always among them."""
    count = len(curve.y)
    if count <= MOST_POINTS:
        return curve.x, curve.y, curve.U95
    kept = set(np.linspace(0, count - 1, MOST_POINTS - 2).round().astype(int).tolist())
    if np.isfinite(curve.y).any():
        kept |= {int(np.nanargmax(curve.y)), int(np.nanargmin(curve.y))}
    at = np.array(sorted(kept))
    return curve.x[at], curve.y[at], curve.U95[at]


def runs_of_known(*columns: FloatArray) -> list[slice]:
    """Stretches in which all columns are finite; a stretch of one value is left out."""
    known = np.all([np.isfinite(c) for c in columns], axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(np.int8), [0]])))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1]


def line_path(col: FloatArray, row: FloatArray) -> str:
    """SVG path of a curve, broken where it is not known."""
    return "".join(_polyline(col[s], row[s], "M") for s in runs_of_known(col, row))


def band_path(col: FloatArray, row: FloatArray, half: FloatArray) -> str:
    """SVG path of a band of the given half width about a curve."""
    pieces = []
    for s in runs_of_known(col, row, half):
        there = _polyline(col[s], row[s] - half[s], "M")
        back = _polyline(col[s][::-1], (row[s] + half[s])[::-1], "L")
        pieces.append(f"{there}{back}Z")
    return "".join(pieces)


def _polyline(col: FloatArray, row: FloatArray, start: str) -> str:
    far = 20 * HEIGHT
    points = [f"{c:.1f} {min(max(r, -far), far):.1f}" for c, r in zip(col, row, strict=True)]
    return start + "L".join(points)
