"""The picture of a lens: where in the picture the board was seen, where it was not, and what the lens leaves over."""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from matchvision.arrays import FloatArray
from matchvision.records.sheet import LensSheet
from matchvision.report.palette import LIGHT
from matchvision.report.saving import save_picture
from matchvision.report.style import FULL_WIDTH_IN, STYLE

#: Fields into which the longer side of the picture is divided to tell where no corner was seen.
_FIELDS: Final = 8


def draw_lens(sheet: LensSheet, corners_px: Mapping[str, FloatArray], rms_px: Mapping[str, float], path: Path) -> Path:
    """Draw where the stills that were used show the board, and how well each fits; return the path.

    Parameters
    ----------
    corners_px : mapping of still to (n, 2) float array
        Of the stills that were used.
    rms_px : mapping of still to float
        Of all stills, those left out too.
    path : Path
        Its ending says PNG, SVG or PDF.

    Raises
    ------
    OutputError
        Where the file cannot be written.

    Notes
    -----
    Checked by: tests/report/test_lenspicture.py::test_fields_without_corners_are_hatched
    """
    with mpl.rc_context({**STYLE, "axes.grid": False}):
        figure = Figure(figsize=(FULL_WIDTH_IN, 2.9), layout="constrained")
        FigureCanvasAgg(figure)
        view, bars = figure.subplots(1, 2, width_ratios=[1.7, 1])
        _draw_coverage(view, sheet, corners_px)
        _draw_stills(bars, corners_px, rms_px)
        return save_picture(figure, path)


def empty_fields(sheet: LensSheet, corners_px: Mapping[str, FloatArray]) -> tuple[tuple[float, float, float], ...]:
    """Left, top and side [px] of the square fields of the picture in which no corner was seen."""
    width, height = sheet.camera.width_px, sheet.camera.height_px
    side = max(width, height) / _FIELDS
    everything = np.concatenate([np.empty((0, 2)), *corners_px.values()])
    taken = {(int(col // side), int(row // side)) for col, row in everything + 0.5}
    cols, rows = int(np.ceil(width / side - 1e-9)), int(np.ceil(height / side - 1e-9))
    return tuple(
        (col * side - 0.5, row * side - 0.5, side)
        for row in range(rows)
        for col in range(cols)
        if (col, row) not in taken
    )


def _draw_coverage(axes: Axes, sheet: LensSheet, corners_px: Mapping[str, FloatArray]) -> None:
    width, height = sheet.camera.width_px, sheet.camera.height_px
    frame = Rectangle((-0.5, -0.5), width, height, fill=False, edgecolor=LIGHT["edge"], linewidth=1.2)
    axes.add_patch(frame)
    for left, top, side in empty_fields(sheet, corners_px):
        field = Rectangle(
            (left, top), side, side, facecolor="white", edgecolor=LIGHT["rule"], hatch="////", linewidth=0
        )
        axes.add_patch(field)
        field.set_clip_path(frame)
    for corners in corners_px.values():
        axes.plot(corners[:, 0], corners[:, 1], ".", markersize=2.2, color=LIGHT["minus"], alpha=0.7)
    col, row = sheet.camera.parameters[2:4]
    axes.plot(col, row, "+", markersize=9, color=LIGHT["plus"])
    axes.set(xlim=(-0.02 * width, 1.02 * width), ylim=(1.02 * height, -0.02 * height), aspect="equal")
    axes.set_axis_off()
    axes.set_title("Corners seen (hatched: none)")


def _draw_stills(axes: Axes, corners_px: Mapping[str, FloatArray], rms_px: Mapping[str, float]) -> None:
    names = list(rms_px)
    colours = [LIGHT["minus"] if name in corners_px else LIGHT["plus"] for name in names]
    at = np.arange(len(names))
    axes.barh(at, [rms_px[name] for name in names], color=colours, height=0.7)
    axes.set_yticks(at, [f"{n[:18]}{'' if n in corners_px else ' (left out)'}" for n in names], fontsize=6)
    axes.invert_yaxis()
    axes.set_xlabel("px rms")
    axes.set_title("Left over by each still")
