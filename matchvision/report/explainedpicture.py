"""What the likeliest cause makes of the run: measured with its band, forecast, and explained, as small pictures."""

import math
from collections.abc import Sequence
from html import escape
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.results import ExplainedCurve
from matchvision.report.charts import band_path, line_path, nice_ticks, tick_text
from matchvision.report.readings import COVERAGE

#: Pictures that are shown at most: those in which forecast and measurement lie furthest apart, and the pull.
MOST_PICTURES: Final = 4
WIDTH, HEIGHT = 340.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 8.0, 22.0, 34.0
_NAMES: Final = {
    "speed": "Speed of {machine} towards home",
    "heading": "Heading of {machine}",
    "pull": "Pull in the rope",
}


def draw_explained(curves: Sequence[ExplainedCurve], since_s: float) -> list[str]:
    """One SVG a quantity, with text and units; ``since_s`` is marked where it is known."""
    return [_draw(curve, since_s) for curve in choose_curves(curves)]


def choose_curves(curves: Sequence[ExplainedCurve]) -> list[ExplainedCurve]:
    """Those worth showing, in the order in which they were weighed."""
    worth = sorted(curves, key=lambda curve: -_off(curve, curve.forecast) / curve.scale)[:MOST_PICTURES]
    pull = next((curve for curve in curves if curve.quantity == "pull"), None)
    if pull is not None and pull not in worth:
        worth[-1] = pull
    return [curve for curve in curves if any(curve is one for one in worth)]


def explained_words(cause: str) -> str:
    """What the explained curve is, for the key. Where all went as predicted, only numbers give way."""
    if cause == "as-predicted":
        return "forecast with its numbers moved within their own uncertainty"
    return "as this explanation has it"


def tell_explained(curves: Sequence[ExplainedCurve], cause: str = "") -> str:
    """How far forecast, logged commands and explanation lie off what was measured, over all quantities (rms)."""
    if not curves:
        return ""

    def share(of: Sequence[FloatArray | None]) -> float:
        known = [_off(c, y) / c.scale for c, y in zip(curves, of, strict=True) if y is not None]
        return 100 * math.sqrt(float(np.nanmean(np.square(known)))) if known else math.nan

    planned, logged, explained = (
        share([getattr(curve, name) for curve in curves]) for name in ("forecast", "logged", "explained")
    )
    parts = [f"The forecast lies {planned:.1f} % of each quantity's size (rms) off what was measured"]
    if math.isfinite(logged):
        parts.append(f"with the commands as they were logged, and nothing else changed, it lies {logged:.1f} % off")
    if math.isfinite(explained):
        own = cause == "as-predicted"
        parts.append(
            f"{'with its numbers moved within their uncertainty' if own else 'this explanation'} {explained:.1f} %"
        )
    return "; ".join(parts) + "."


def _draw(curve: ExplainedCurve, since_s: float) -> str:
    scale, unit = scale_of(curve)
    name = name_curve(curve)
    given = {
        "forecast": curve.forecast * scale,
        "logged": None if curve.logged is None else curve.logged * scale,
        "explained": None if curve.explained is None else curve.explained * scale,
    }
    measured, half = curve.measured * scale, COVERAGE * curve.u_measured * scale
    drawn = {key: y for key, y in given.items() if y is not None}
    values = np.concatenate([measured - half, measured + half, *drawn.values(), [0.0]])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    pad = 0.05 * ((high - low) or 1.0)
    low, high = low - pad, high + pad
    until_s = float(curve.t_s[-1])

    def col(t_s: FloatArray) -> FloatArray:
        return np.asarray(LEFT + (WIDTH - LEFT - RIGHT) * t_s / until_s, dtype=np.float64)

    def row(y: FloatArray) -> FloatArray:
        return np.asarray(TOP + (HEIGHT - TOP - BOTTOM) * (high - y) / (high - low), dtype=np.float64)

    def at(value: float, of: str) -> str:
        return f"{float((col if of == 'x' else row)(np.array(value))):.1f}"

    per_unit = (HEIGHT - TOP - BOTTOM) / (high - low)
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    parts = [f'<text class="title" x="{LEFT}" y="13">{escape(name)} <tspan class="tick">/ {unit}</tspan></text>']
    ticks = nice_ticks(low, high, 4)
    for tick in ticks:
        parts.append(f'<path class="grid" d="M{LEFT} {at(tick, "y")}H{right}"/>')
        line_y = float(at(tick, "y")) + 4
        parts.append(
            f'<text class="tick" x="{LEFT - 5}" y="{line_y:.1f}" text-anchor="end">{tick_text(tick, ticks)}</text>'
        )
    times = nice_ticks(0.0, until_s, 5)
    parts += [
        f'<text class="tick" x="{at(t, "x")}" y="{bottom + 13}" text-anchor="middle">{tick_text(t, times)}</text>'
        for t in times
    ]
    middle = (LEFT + right) / 2
    parts.append(f'<text class="tick" x="{middle}" y="{bottom + 27}" text-anchor="middle">match time / s</text>')
    parts.append(f'<path class="frame" d="M{LEFT} {TOP}V{bottom}H{right}"/>')
    if math.isfinite(since_s) and 0 <= since_s <= until_s:
        parts.append(f'<path class="since" d="M{at(since_s, "x")} {TOP}V{bottom}"/>')
    parts.append(f'<path class="band" d="{band_path(col(curve.t_s), row(measured), half * per_unit)}"/>')
    for key, curve_y in drawn.items():
        parts.append(f'<path class="{key}" d="{line_path(col(curve.t_s), row(curve_y))}"/>')
    parts.append(f'<path class="measured" d="{line_path(col(curve.t_s), row(measured))}"/>')
    return (
        f'<svg class="lever explained" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" '
        f'aria-label="{escape(_summary(curve, name, scale, unit))}">{"".join(parts)}</svg>'
    )


def scale_of(curve: ExplainedCurve) -> tuple[float, str]:
    """What a curve's numbers are multiplied with to be shown, and the unit they then have."""
    return (1000.0, "mm/s") if curve.unit == "m/s" else (1.0, curve.unit)


def name_curve(curve: ExplainedCurve) -> str:
    """The quantity in words."""
    if curve.quantity == "surface":
        return f"Wheel surface speed of {curve.machine}, {curve.side}"
    return _NAMES[curve.quantity].format(machine=curve.machine)


def _summary(curve: ExplainedCurve, name: str, scale: float, unit: str) -> str:
    """The picture in a sentence, for who hears the page."""
    told = [f"the forecast lies {scale * _off(curve, curve.forecast):.2g} {unit} off"]
    if curve.explained is not None:
        told.append(f"the explanation {scale * _off(curve, curve.explained):.2g} {unit}")
    return f"{name} over match time: {', '.join(told)} what was measured (rms)"


def _off(curve: ExplainedCurve, y: FloatArray) -> float:
    """Root mean square of a curve's distance from the measured one."""
    apart = y - curve.measured
    return float(np.sqrt(np.nanmean(apart**2))) if np.isfinite(apart).any() else 0.0
