"""The map of grip, over the place on the table and over match time: for the figures and for the page."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from matchvision.records.gripmap import GripCell, GripMap, GripTale
from matchvision.records.results import Analysis
from matchvision.report.charts import Tick, nice_ticks
from matchvision.report.palette import LIGHT
from matchvision.report.readings import side_role
from matchvision.report.style import FULL_WIDTH_IN, explain_below
from matchvision.uncertainty import K_95

# Slow to load, and the page draws the map without it.
if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Grip of a cell that is drawn in full colour; what is drawn paler has less.
FULL_GRIP: Final = 1.0
#: Sign before a cell's number, by its kind.
SIGNS: Final = {"available": "", "at least": "≥", "at most": "≤"}
#: The tale that is drawn into the map is at least so probable.
DRAWN: Final = 0.9
#: The numbers in the cells fit where there are no more columns than this.
MOST_NUMBERS: Final = 16


@dataclass(frozen=True)
class MapCell:
    """One cell for the page, in per cent of the map's width and height, its strength from 0 to 1 and its words."""

    left: float
    top: float
    width: float
    height: float
    strength: float
    kind: str
    text: str
    words: str
    at_s: float


@dataclass(frozen=True)
class MapPicture:
    """One side's map for the page."""

    title: str
    role: str
    statement: str
    cells: tuple[MapCell, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


def kept_cells(one: GripMap, side: str) -> list[GripCell]:
    """One side's cells with one for each place and time: where wheels slid and gripped in one, the slide tells more."""
    best: dict[tuple[float, float], GripCell] = {}
    order = ("available", "at most", "at least")
    for cell in one.cells:
        key = (round(cell.from_x_m, 6), round(cell.from_s, 6))
        if cell.side == side and (key not in best or order.index(cell.grip_kind) < order.index(best[key].grip_kind)):
            best[key] = cell
    return list(best.values())


def grip_pictures(analysis: Analysis) -> list[MapPicture]:
    """A map for every machine and watched side, for the page."""
    pictures = []
    for one in analysis.grip.maps if analysis.grip is not None else ():
        for side in one.sides:
            cells = kept_cells(one, side)
            if not cells:
                continue
            low_x, high_x, low_s, high_s = limits_of(cells)
            wide, long = high_x - low_x, high_s - low_s
            shown = tuple(
                MapCell(
                    100 * (c.from_x_m - low_x) / wide, 100 * (high_s - c.until_s) / long,
                    100 * (c.to_x_m - c.from_x_m) / wide, 100 * (c.until_s - c.from_s) / long,
                    float(np.clip(c.grip_ratio / FULL_GRIP, 0.05, 1.0)), c.grip_kind.replace(" ", "-"), number_in(c),
                    words_of(c), c.from_s,
                )
                for c in cells
            )  # fmt: skip
            x_ticks = tuple(Tick(_number(x), 100 * (x - low_x) / wide) for x in nice_ticks(low_x, high_x, 6))
            y_ticks = tuple(Tick(_number(t), 100 * (high_s - t) / long) for t in nice_ticks(low_s, high_s, 5))
            pictures.append(
                MapPicture(
                    f"Grip of {one.machine}, {side} side", side_role(analysis, one.machine),
                    one.statement if side == one.sides[-1] else "", shown, x_ticks, y_ticks,
                )
            )  # fmt: skip
    return pictures


def figure_of_grip(one: GripMap, analysis: Analysis) -> "Figure":
    """One machine's map, a panel a side: place along the pull across, match time upwards, in each cell its grip."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Patch, Rectangle

    figure = Figure(figsize=(FULL_WIDTH_IN, 0.7 + 2.7 * len(one.sides)), layout="constrained")
    FigureCanvasAgg(figure)
    every = figure.subplots(len(one.sides), 1, sharex=True, squeeze=False)
    colour = LIGHT[side_role(analysis, one.machine)]
    low_x, high_x, low_s, high_s = limits_of([cell for side in one.sides for cell in kept_cells(one, side)])
    for axes, side in zip(every[:, 0], one.sides, strict=True):
        cells = kept_cells(one, side)
        if not cells:
            axes.set_axis_off()
            continue
        few = (high_x - low_x) / (cells[0].to_x_m - cells[0].from_x_m) <= MOST_NUMBERS
        for cell in cells:
            _draw_cell(axes, cell, colour, number=few)
        axes.set(xlim=(low_x, high_x), ylim=(low_s, high_s), ylabel="match time / s")
        axes.set_title(f"Grip of {one.machine}, {side} side (traction over load)")
        axes.grid(visible=False)
        if one.tales and one.tales[0].probability >= DRAWN and one.tales[0].side in {"both", side}:
            _draw_tale(axes, one.tales[0], (low_x, high_x, low_s, high_s))
    every[-1, 0].set_xlabel("x along the pull, middle of that side's driven wheels / m")
    signs = [
        Patch(facecolor=colour, alpha=0.6, label="slid: grip available"),
        Patch(facecolor=colour, alpha=0.3, hatch="///", edgecolor="white", label="gripped: at least (≥)"),
        Rectangle(
            (0, 0),
            0,
            0,
            fill=False,
            edgecolor=LIGHT["ink"],
            linestyle=(0, (4, 2)),
            label="less grip under a wheel there, 95 %",
        ),
    ]
    explain_below(figure, signs)
    return figure


def _draw_cell(axes: "Axes", cell: GripCell, colour: str, *, number: bool) -> None:
    from matplotlib.patches import Rectangle

    at, size = (cell.from_x_m, cell.from_s), (cell.to_x_m - cell.from_x_m, cell.until_s - cell.from_s)
    strength = 0.08 + 0.82 * float(np.clip(cell.grip_ratio / FULL_GRIP, 0.0, 1.0))
    slid = cell.grip_kind == "available"
    patch = Rectangle(at, *size, facecolor=colour, alpha=strength if slid else 0.5 * strength, linewidth=0)
    axes.add_patch(patch)
    if not slid:
        axes.add_patch(Rectangle(at, *size, fill=False, hatch="////", edgecolor="white", linewidth=0))
    if number:
        dark = slid and strength > 0.5
        axes.text(
            at[0] + size[0] / 2, at[1] + size[1] / 2, number_in(cell), ha="center", va="center", fontsize=6.5,
            color="white" if dark else LIGHT["ink"],
        )  # fmt: skip


def _draw_tale(axes: "Axes", tale: GripTale, limits: tuple[float, float, float, float]) -> None:
    """Where and when grip is less, outlined dashed out to where its edges may lie (95 %)."""
    from matplotlib.patches import Rectangle

    if tale.kind in {"even", "other"}:
        return
    low_x, high_x, low_s, high_s = limits
    from_x = tale.from_x_m - K_95 * tale.u_from_x_m if math.isfinite(tale.from_x_m) else low_x
    to_x = tale.to_x_m + K_95 * tale.u_to_x_m if math.isfinite(tale.to_x_m) else high_x
    from_s = tale.from_s - K_95 * tale.u_from_s if math.isfinite(tale.from_s) else low_s
    until_s = tale.until_s if math.isfinite(tale.until_s) else high_s
    axes.add_patch(
        Rectangle(
            (from_x, from_s), to_x - from_x, until_s - from_s, fill=False, edgecolor=LIGHT["ink"], linewidth=1.2,
            linestyle=(0, (4, 2)), clip_on=True,
        )
    )  # fmt: skip


def limits_of(cells: list[GripCell]) -> tuple[float, float, float, float]:
    """From and to x [m] and match time [s] of what is shown."""
    return (
        min(c.from_x_m for c in cells), max(c.to_x_m for c in cells),
        min(c.from_s for c in cells), max(c.until_s for c in cells),
    )  # fmt: skip


def number_in(cell: GripCell) -> str:
    """A cell's grip to two decimals, with its sign."""
    return f"{SIGNS[cell.grip_kind]}{cell.grip_ratio:.2f}"


def words_of(cell: GripCell) -> str:
    """A cell in words."""
    kind = {"available": "slid; grip available", "at least": "gripped; at least", "at most": "slid alone; at most"}
    return (
        f"x {_number(cell.from_x_m)} to {_number(cell.to_x_m)} m, {_number(cell.from_s)} to {_number(cell.until_s)} s: "
        f"{kind[cell.grip_kind]} {cell.grip_ratio:.3f} ± {K_95 * cell.u_grip_ratio:.3f} (95 %), from "
        f"{cell.data_s:.1f} s"
    )


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".").replace("-", "−") or "0"
