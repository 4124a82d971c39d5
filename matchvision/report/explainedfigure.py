"""The explained curves as a figure of its own: what the leading cause makes of the run, SVG and PNG."""

import math
from collections.abc import Sequence
from pathlib import Path
from textwrap import fill
from typing import Final

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from matchvision.records.results import CauseRow
from matchvision.report import wording
from matchvision.report.explainedpicture import choose_curves, explained_words, name_curve, scale_of
from matchvision.report.figurefiles import write_figures
from matchvision.report.palette import LIGHT
from matchvision.report.readings import COVERAGE
from matchvision.report.style import FULL_WIDTH_IN, explain_below

NAME = "explained"
#: Signs in a line of an upright label: as many as a panel is high.
LABEL_SIGNS: Final = 26


def draw_explained_figure(causes: Sequence[CauseRow], folder: Path) -> tuple[Path, ...]:
    """Draw the likeliest cause's curves into ``folder`` as SVG and PNG; returns the files, none without curves.

    The measured means with their 95 % band (k = 1.96), the forecast, and what the cause makes of it.

    Raises
    ------
    OutputError
        Where the folder cannot be written.

    Notes
    -----
    Checked by: tests/report/test_explainedfigure.py::test_the_explained_curve_is_drawn_where_it_lies
    """
    likeliest = max(causes, key=lambda cause: cause.probability, default=None)
    if likeliest is None or not likeliest.curves:
        return ()
    return write_figures({NAME: lambda: figure_of_explained(likeliest)}, folder)


def figure_of_explained(cause: CauseRow) -> Figure:
    """A panel for each quantity that is worth showing, two in a row, over one time axis."""
    curves = choose_curves(cause.curves)
    columns = min(2, len(curves))
    rows = math.ceil(len(curves) / columns)
    figure = Figure(figsize=(FULL_WIDTH_IN, 0.9 + 1.9 * rows), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(rows, columns, sharex=True, squeeze=False).flat
    for axes, curve in zip(panels, curves, strict=False):
        scale, unit = scale_of(curve)
        measured, half = scale * curve.measured, COVERAGE * scale * curve.u_measured
        axes.fill_between(
            curve.t_s, measured - half, measured + half, color=LIGHT["soft"], alpha=0.25, linewidth=0,
            label=f"95 % band of the measured (k = {COVERAGE})",
        )  # fmt: skip
        axes.plot(curve.t_s, measured, color=LIGHT["ink"], linewidth=1.1, label="measured, means over 0.1 s")
        axes.plot(curve.t_s, scale * curve.forecast, color=LIGHT["soft"], linestyle=(0, (5, 3)), label="forecast")
        if curve.logged is not None:
            label = "forecast with the commands as logged"
            axes.plot(curve.t_s, scale * curve.logged, color=LIGHT["drive"], linestyle=(0, (1.5, 1.5)), label=label)
        if curve.explained is not None:
            explained = explained_words(cause.cause)
            axes.plot(curve.t_s, scale * curve.explained, color=LIGHT["link"], linewidth=1.7, label=explained)
        if math.isfinite(cause.since_s):
            label = f"at work since {cause.since_s:.2f} s"
            axes.axvline(cause.since_s, color=LIGHT["warn"], linewidth=1.0, linestyle=(0, (1, 2)), label=label)
        axes.set_ylabel(f"{fill(name_curve(curve), LABEL_SIGNS)}\n/ {unit}")
    spare = [axes for axes in figure.axes if not axes.lines]
    for axes in spare:
        axes.remove()
    for axes in figure.axes[-columns:]:
        axes.xaxis.set_tick_params(labelbottom=True)
        axes.set_xlabel("match time / s")
    explain_below(figure, figure.axes[0].get_legend_handles_labels()[0])
    title = (
        f"What the likeliest cause makes of the run: {wording.cause_name(cause)}, {wording.chance(cause.probability)}"
    )
    figure.suptitle(title, x=0.01, ha="left", fontsize=9, fontweight="bold")
    return figure
