"""The picture of a footage check: how well a place will be known over the table, what the camera sees, the measures."""

import re
import textwrap
from pathlib import Path
from typing import Final

import cv2
import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.gridspec import GridSpec
from matplotlib.patches import Polygon, Rectangle
from matplotlib.ticker import MaxNLocator

from matchvision.records.footage import FootageCheck, PlaceUncertainty
from matchvision.records.sheet import TableSheet
from matchvision.report.footagewords import answer, list_measures
from matchvision.report.palette import LIGHT
from matchvision.report.saving import save_picture
from matchvision.report.style import FULL_WIDTH_IN, STYLE

#: From sure to unsure.
_SURENESS: Final = LinearSegmentedColormap.from_list(
    "sureness", [LIGHT["card"], LIGHT["minus-tint"], "#8db4cb", LIGHT["minus"]]
)
#: Height of the camera's picture and of the lists beside it, and of the heading [inch].
_VIEW_IN, _HEADING_IN = 2.35, 0.62
#: Letters of the answer in a line, and spaces between a number and its unit.
_HEAD_LETTERS: Final = 90
_UNITS: Final = re.compile(r"(?<=\d) (?=(?:%|mm|ms|m/s|px|s|Hz)\b|%)")
#: Width to which the camera's picture is shrunk [px].
_STILL_WIDTH_PX: Final = 1000
#: Height of a line of the measures [inch], space between two of them in lines, and letters to a line.
_LINE_IN, _GAP_LINES = 0.122, 0.35
_VALUE_LETTERS: Final = 34


def draw_footage(check: FootageCheck, path: Path) -> Path:
    """Draw the check to ``path`` (its ending says PNG, SVG or PDF) and return the path.

    Above the table from above, shaded by the expanded uncertainty of a marker's place along the pull; below it what
    the camera sees, with tags and markers as found, beside the measures. Without a calibrated table only the latter.

    Raises
    ------
    OutputError
        Where the file cannot be written.

    Notes
    -----
    Checked by: tests/report/test_footagepicture.py::test_picture_is_drawn_with_and_without_a_table
    """
    with mpl.rc_context({**STYLE, "axes.grid": False}):
        return save_picture(_compose(check), path)


def _compose(check: FootageCheck) -> Figure:
    table = check.sheet.table if check.sheet is not None else None
    plan = check.places is not None and table is not None and np.isfinite(check.places.U95_x_m).any()
    plan_in = 0.0
    if plan and table is not None:
        plan_in = float(np.clip(0.80 * FULL_WIDTH_IN * table.width_m / table.length_m, 1.2, 4.5)) + 0.62
    view_in = max(_VIEW_IN, _LINE_IN * _count_lines(check) + 0.15)
    height_in = _HEADING_IN + plan_in + view_in + 0.15
    figure = Figure(figsize=(FULL_WIDTH_IN, height_in))
    FigureCanvasAgg(figure)
    _head(figure, check, height_in)
    if plan and table is not None and check.places is not None:
        top = 1 - (_HEADING_IN + 0.22) / height_in
        bottom = top - (plan_in - 0.62) / height_in
        grid = GridSpec(
            1, 2, figure, left=0.085, right=0.925, top=top, bottom=bottom, width_ratios=[60, 1], wspace=0.05
        )
        _draw_plan(figure, figure.add_subplot(grid[0, 0]), figure.add_subplot(grid[0, 1]), check.places, table)
    top = (view_in - 0.1) / height_in
    grid = GridSpec(1, 2, figure, left=0.02, right=0.98, top=top, bottom=0.02, width_ratios=[1.12, 1], wspace=0.04)
    _draw_view(figure.add_subplot(grid[0, 0]), check)
    _list(figure.add_subplot(grid[0, 1]), check, _LINE_IN / (view_in - 0.1))
    return figure


def _head(figure: Figure, check: FootageCheck, height_in: float) -> None:
    name = check.sheet.run.name if check.sheet is not None and not check.is_still else check.facts.path.name
    figure.text(0.02, 1 - 0.22 / height_in, name, fontsize=11, weight="bold", va="center")
    weak = check.exit_code > 0
    said = answer(check)
    if weak:
        grave = [fault.what for fault in check.faults if fault.weight != "remark"]
        more = f" (and {len(grave) - 1} more)" if len(grave) > 1 else ""
        said = textwrap.shorten(f"{said.rstrip(':.')}: {grave[0]}", _HEAD_LETTERS - len(more), placeholder=" …") + more
    colour = LIGHT["plus"] if weak else LIGHT["link"]
    figure.text(0.02, 1 - 0.43 / height_in, said, fontsize=8.5, color=colour, weight="bold", va="center")


def _draw_plan(figure: Figure, axes: Axes, scale: Axes, places: PlaceUncertainty, table: TableSheet) -> None:
    U95_mm = 1000 * places.U95_x_m
    known = U95_mm[np.isfinite(U95_mm)]
    levels = MaxNLocator(nbins=7, steps=[1, 2, 2.5, 5, 10]).tick_values(float(known.min()), float(known.max()))
    half_x, half_y = table.length_m / 2, table.width_m / 2
    axes.add_patch(
        Rectangle((-half_x, -half_y), 2 * half_x, 2 * half_y, facecolor="white", edgecolor=LIGHT["rule"], hatch="////")
    )
    shades = axes.contourf(places.x_m, places.y_m, np.ma.masked_invalid(U95_mm), levels=levels, cmap=_SURENESS)
    lines = axes.contour(
        places.x_m, places.y_m, np.ma.masked_invalid(U95_mm), levels=levels, colors=LIGHT["ink"], linewidths=0.5
    )
    labels = axes.clabel(lines, fontsize=7, fmt=lambda level: f"±{level:g}")
    for label in labels:
        label.set_bbox({"facecolor": "white", "alpha": 0.8, "linewidth": 0, "boxstyle": "round,pad=0.12"})
    axes.add_patch(
        Rectangle((-half_x, -half_y), 2 * half_x, 2 * half_y, fill=False, edgecolor=LIGHT["edge"], linewidth=1.6)
    )
    axes.plot([0, 0], [-half_y, half_y], color=LIGHT["ink"], linewidth=0.8)
    for tag in table.tag:
        at = (tag.centre_m[0] - tag.side_m / 2, tag.centre_m[1] - tag.side_m / 2)
        square = Rectangle(at, tag.side_m, tag.side_m, angle=tag.angle_deg, rotation_point="center")
        square.set(facecolor="white", edgecolor=LIGHT["ink"], linewidth=0.8)
        axes.add_patch(square)
        axes.text(*tag.centre_m, str(tag.id), ha="center", va="center", fontsize=6.5)
    axes.set(xlim=(-half_x - 0.03, half_x + 0.03), ylim=(-half_y - 0.03, half_y + 0.03), aspect="equal")
    axes.spines[:].set_visible(False)
    axes.set_xlabel("x along the pull / m", labelpad=1)
    axes.set_ylabel("y across / m", labelpad=1)
    axes.set_title("How well a marker's place along the pull will be known, in mm (95 %)", pad=5)
    bar = figure.colorbar(shades, cax=scale)
    bar.outline.set_linewidth(0.5)
    bar.ax.tick_params(labelsize=7, length=2)
    bar.set_label("± mm", fontsize=7, labelpad=2)


def _draw_view(axes: Axes, check: FootageCheck) -> None:
    luma = np.ascontiguousarray(check.picture.luma)
    rows, cols = luma.shape
    ratio = min(1.0, _STILL_WIDTH_PX / cols)
    small = cv2.resize(luma, None, fx=ratio, fy=ratio, interpolation=cv2.INTER_AREA)
    # Paler than it is, so that what is drawn on it stands out.
    axes.imshow(80 + small * (175 / 255), cmap="gray", vmin=0, vmax=255, extent=(-0.5, cols - 0.5, rows - 0.5, -0.5))
    if check.places is not None:
        axes.add_patch(Polygon(check.places.table_px, closed=True, fill=False, edgecolor=LIGHT["minus"], linewidth=1.0))
    for tag in check.tags:
        if tag.corners_px is None:
            continue
        axes.add_patch(
            Polygon(tag.corners_px, closed=True, fill=False, edgecolor=LIGHT["link"], linewidth=1.4, joinstyle="round")
        )
        col, row = tag.corners_px.mean(axis=0)
        words = axes.text(col, row, str(tag.id), color="white", fontsize=6, weight="bold", ha="center", va="center")
        words.set_bbox({"facecolor": LIGHT["link"], "linewidth": 0, "boxstyle": "round,pad=0.1"})
    colours = {name: colour.srgb for colour in check.colours for name in colour.planned}
    for name, (col, row) in check.markers_px.items():
        axes.plot(col, row, "o", markersize=4.2, markerfacecolor=colours[name], markeredgecolor="white",
                  markeredgewidth=0.7)  # fmt: skip
    axes.set(xlim=(-0.5, cols - 0.5), ylim=(rows - 0.5, -0.5))
    axes.set_axis_off()
    axes.set_anchor("NW")


def _count_lines(check: FootageCheck) -> float:
    """Lines of all measures, the space between two of them counted as a part of a line."""
    measures = list_measures(check)
    return sum(len(_wrap(m.value)) for m in measures) + _GAP_LINES * len(measures)


def _wrap(value: str) -> list[str]:
    """Lines of a measure; a number keeps its unit beside it."""
    return textwrap.wrap(_UNITS.sub("\u00a0", value), _VALUE_LETTERS)


def _list(axes: Axes, check: FootageCheck, step: float) -> None:
    """Measures, one under the other, the label in grey; a line takes ``step`` of the height."""
    axes.set_axis_off()
    axes.set(xlim=(0, 1), ylim=(0, 1))
    told = [(m.label, _wrap(m.value)) for m in list_measures(check)]
    at = 0.99
    for label, value in told:
        axes.text(0.33, at, label, color=LIGHT["soft"], fontsize=6.8, va="top", ha="right")
        for line in value:
            axes.text(0.36, at, line, fontsize=6.8, va="top")
            at -= step
        at -= _GAP_LINES * step
