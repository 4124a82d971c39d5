"""Figures as files: each panel as SVG (text stays text) and PNG, in one style, ready for a paper."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from matchvision.records.results import Analysis, ComparisonRow
from matchvision.report.charts import runs_of_known, y_limits
from matchvision.report.curves import Panel, place_panels, time_panels
from matchvision.report.embedding import chosen_frames, deciding_moment
from matchvision.report.figurefiles import write_figures
from matchvision.report.gripmap import figure_of_grip
from matchvision.report.palette import DASHES, LIGHT
from matchvision.report.phasewords import PHASE_WORDS
from matchvision.report.readings import AROUND_S, COVERAGE, match_times, place_limits
from matchvision.report.style import FULL_WIDTH_IN, explain_below
from matchvision.report.topview import Outline, hitch_places, outline_machines, rope_polylines, split_at_line
from matchvision.report.wording import in_millimetres, standard

#: Errors beyond this many expanded uncertainties are drawn at the edge, with an arrowhead.
FARTHEST_EN = 6.0
#: From a standard to the expanded uncertainty of a comparison, as E_n has it (ISO 13528).
EXPANDED = 2.0
#: Sign, colour role and meaning of each word of a comparison.
COMPARED_SIGNS: Final = {
    "yes": ("o", "link", "agrees"),
    "no": ("D", "plus", "contradicts"),
    "inconclusive": ("s", "soft", "too wide to tell"),
}


def draw_figures(analysis: Analysis, folder: Path) -> tuple[Path, ...]:
    """Draw every figure that the analysis supports into ``folder``, as SVG and PNG; returns the files.

    Bands hold 95 % (k = 1.96). What was not measured has no figure; the page says why.

    Raises
    ------
    OutputError
        Where the folder cannot be written.

    Notes
    -----
    Checked by: tests/report/test_figures.py::test_every_figure_names_its_units
    """
    drawings: dict[str, Callable[[], Figure]] = {"table-from-above": lambda: figure_of_table(analysis)}
    for panel in (*time_panels(analysis), *place_panels(analysis)):
        if panel.curves:
            drawings[panel.key] = lambda panel=panel: figure_of_panel(panel, analysis)  # type: ignore[misc]
    for one in analysis.grip.maps if analysis.grip is not None else ():
        if one.cells:
            drawings["grip-map-" + re.sub(r"[^\w$-]", "_", one.machine)] = lambda one=one: figure_of_grip(one, analysis)  # type: ignore[misc]
    if any(np.isfinite(r.predicted) and np.isfinite(r.measured) for r in analysis.verdict.comparison):
        drawings["comparison"] = lambda: figure_of_comparison(analysis)
    return write_figures(drawings, folder)


def _new_figure(height_in: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(FULL_WIDTH_IN, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.add_subplot()


def figure_of_panel(panel: Panel, analysis: Analysis) -> Figure:
    """A panel: measured curves solid with their bands, predicted ones dashed in paler bands."""
    figure, axes = _new_figure(2.7)
    for order, curve in enumerate(sorted(panel.curves, key=lambda c: c.predicted)):
        colour, front = LIGHT[curve.role], 3 - 0.01 * order
        for s in runs_of_known(curve.x, curve.y, curve.U95):
            x, y, half = curve.x[s], curve.y[s], curve.U95[s]
            outline = np.concatenate([np.stack([x, y - half], axis=1), np.stack([x, y + half], axis=1)[::-1]])
            alpha = 0.12 if curve.predicted else 0.25
            axes.add_patch(Polygon(outline, closed=True, facecolor=colour, alpha=alpha, linewidth=0, zorder=front - 1))
        dash = (0, (5, 3)) if curve.predicted else (0, DASHES[curve.role]) if curve.role in DASHES else "solid"
        width = 1.0 if curve.predicted else 1.3
        axes.plot(curve.x, curve.y, color=colour, linestyle=dash, linewidth=width, label=curve.label, zorder=front)
    for level in panel.levels:
        colour = LIGHT[level.role]
        axes.axhline(level.y, color=colour, linewidth=0.9, linestyle=(0, (1, 2)), label=level.label)
        if level.U95 > 0:
            axes.axhspan(level.y - level.U95, level.y + level.U95, color=colour, alpha=0.08, linewidth=0)
    axes.add_patch(Rectangle((0, 0), 0, 0, color=LIGHT["soft"], alpha=0.3, label=f"bands: 95 % (k = {COVERAGE})"))
    axes.set_ylim(*y_limits(panel))
    over_time = panel.x_label == "match time / s"
    axes.set_xlim(*((-AROUND_S, analysis.clock.duration_s + AROUND_S) if over_time else place_limits(analysis)))
    axes.set_xlabel(panel.x_label)
    axes.set_ylabel(panel.y_label)
    axes.set_title(panel.title)
    explain_below(figure)
    return figure


def figure_of_table(analysis: Analysis) -> Figure:
    """The table from above with the machines' tracks, and rope and machines at the start (pale) and when decided."""
    table = analysis.run.sheet.table
    half_x, half_y = table.length_m / 2, table.width_m / 2
    height_in = min(7.5, 0.9 * FULL_WIDTH_IN * table.width_m / table.length_m + 0.9)
    figure, axes = _new_figure(height_in)
    for role, x in (("minus", -half_x), ("plus", 0.0)):
        axes.add_patch(Rectangle((x, -half_y), half_x, 2 * half_y, facecolor=LIGHT[f"{role}-tint"], linewidth=0))
    axes.add_patch(
        Rectangle((-half_x, -half_y), 2 * half_x, 2 * half_y, fill=False, edgecolor=LIGHT["edge"], linewidth=1.6)
    )
    axes.plot([0, 0], [-half_y, half_y], color=LIGHT["ink"], linewidth=0.8)
    for tag in table.tag:
        at = (tag.centre_m[0] - tag.side_m / 2, tag.centre_m[1] - tag.side_m / 2)
        square = Rectangle(at, tag.side_m, tag.side_m, angle=tag.angle_deg, rotation_point="center")
        square.set(facecolor=LIGHT["edge"], alpha=0.5, linewidth=0)
        axes.add_patch(square)
    frames = chosen_frames(analysis)
    decided = int(frames[deciding_moment(analysis, frames)])
    start = int(np.abs(match_times(analysis)).argmin())
    inside = frames[(frames >= start) & (frames <= decided)]
    for outline in outline_machines(analysis):
        hitch = hitch_places(analysis, outline.name)
        moved = analysis.motion.machines[outline.name]
        track = np.stack([moved.x_m, moved.y_m], axis=1) if hitch is None else hitch
        axes.plot(track[inside, 0], track[inside, 1], color=LIGHT[outline.role], linewidth=0.9, alpha=0.8)
    for frame, alpha in ((start, 0.35), (decided, 1.0)):
        for outline in outline_machines(analysis):
            _draw_machine(axes, analysis, outline, frame, alpha)
        pieces = split_at_line(rope_polylines(analysis, np.array([frame]))[0])
        for role, lines in pieces.items():
            for line in lines:
                axes.plot(*np.array(line).T, color=LIGHT[role], linewidth=2.4, alpha=alpha, solid_capstyle="round")
    for outline in outline_machines(analysis):
        moved = analysis.motion.machines[outline.name]
        x, y = float(moved.x_m[decided]), float(moved.y_m[decided])
        if np.isfinite([x, y]).all():
            above = y + outline.width / 2000 + 0.035
            axes.text(x, above, outline.name, color=LIGHT[outline.role], ha="center", weight="bold")
    axes.set(xlim=(-half_x - 0.05, half_x + 0.05), ylim=(-half_y - 0.03, half_y + 0.03), aspect="equal")
    axes.grid(visible=False)
    axes.spines[:].set_visible(False)
    axes.set_xlabel("x along the pull / m")
    axes.set_ylabel("y across / m")
    last_s = float(match_times(analysis)[decided])
    axes.set_title(f"The table from above at {last_s:.2f} s; pale: at the start; lines: tracks of the hitches")
    return figure


def _draw_machine(axes: Axes, analysis: Analysis, outline: Outline, frame: int, alpha: float) -> None:
    moved = analysis.motion.machines[outline.name]
    x, y, heading_deg = (float(column[frame]) for column in (moved.x_m, moved.y_m, moved.heading_deg))
    if not np.isfinite([x, y]).all():
        return
    heading = np.radians(heading_deg) if np.isfinite(heading_deg) else 0.0
    turn = np.array([[np.cos(heading), -np.sin(heading)], [np.sin(heading), np.cos(heading)]])

    def on_table(points: list[tuple[float, float]]) -> npt.NDArray[np.float64]:
        return np.asarray(np.asarray(points) / 1000 @ turn.T + (x, y), dtype=np.float64)

    half_l, half_w = outline.length / 2, outline.width / 2
    box = [(-half_l, -half_w), (half_l, -half_w), (half_l, half_w), (-half_l, half_w)]
    colour = LIGHT[outline.role]
    axes.add_patch(
        Polygon(on_table(box), facecolor="white", edgecolor=colour, linewidth=1.2, alpha=alpha, joinstyle="round")
    )
    if not outline.hauled:
        arrow = on_table([(half_l - 60, -32), (half_l - 18, 0), (half_l - 60, 32)])
        axes.plot(*arrow.T, color=colour, linewidth=1.2, alpha=alpha)


def _line_name(row: ComparisonRow) -> str:
    """The quantity; of a phase with the phase, or two lines would bear one name."""
    return f"{PHASE_WORDS[row.phase]}: {row.quantity}" if row.phase else row.quantity


def figure_of_comparison(analysis: Analysis) -> Figure:
    """Each compared quantity on a line: the error E over its expanded uncertainty, agreement between ±1."""
    rows = [r for r in analysis.verdict.comparison if np.isfinite(r.en)]
    figure, axes = _new_figure(0.9 + 0.4 * max(len(rows), 1))
    axes.axvspan(-1, 1, color=LIGHT["link"], alpha=0.12, linewidth=0)
    for row, place in zip(rows, range(len(rows))[::-1], strict=True):
        sign, role, _ = COMPARED_SIGNS[row.within]
        shown = float(np.clip(row.en, -FARTHEST_EN, FARTHEST_EN))
        if abs(row.en) > FARTHEST_EN:
            sign = "<" if row.en < 0 else ">"
        filled = "none" if row.within == "inconclusive" else LIGHT[role]
        axes.plot([0, shown], [place, place], color=LIGHT["soft"], linewidth=0.8)
        axes.plot(shown, place, sign, color=LIGHT[role], markerfacecolor=filled, markersize=5)
        told = in_millimetres(row)
        text = "E = " + standard(told.error, EXPANDED * told.u_validation, told.unit)
        # Beside the sign, away from the line through zero.
        left = row.en < 0
        axes.annotate(
            text, (shown, place), xytext=(-6 if left else 6, 0), textcoords="offset points",
            ha="right" if left else "left", va="center", fontsize=7,
        )  # fmt: skip
    axes.axvline(0, color=LIGHT["ink"], linewidth=0.8)
    widest = min(FARTHEST_EN, max([1.5, *(abs(r.en) for r in rows)]))
    axes.set_xlim(-1.8 * widest, 1.8 * widest)
    axes.set_ylim(-0.5, max(len(rows), 1) - 0.3)
    axes.set_yticks(range(len(rows))[::-1], [_line_name(r) for r in rows])
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("E over its expanded uncertainty (±, k = 2); tinted: within it")
    for word, (sign, role, meaning) in COMPARED_SIGNS.items():
        if any(row.within == word for row in rows):
            filled = "none" if word == "inconclusive" else LIGHT[role]
            axes.plot([], [], sign, color=LIGHT[role], markerfacecolor=filled, markersize=5, label=meaning)
    if rows:
        explain_below(figure)
    axes.set_title("Forecast error E = predicted − measured")
    return figure
