"""Pages measured in millimetres: what every printed page carries, and the strokes from which pages are drawn.

A page is a figure of the paper's size with one pair of axes over all of it, in millimetres from its lower left corner.
Whatever is drawn there has its true size on paper, as long as nobody scales the print: hence the ruler.
"""

from dataclasses import dataclass
from typing import Final

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Circle, Rectangle
from matplotlib.textpath import text_to_path

from matchvision.errors import OutputError
from matchvision.report.palette import LIGHT

MM_PER_INCH: Final = 25.4
MM_PER_POINT: Final = MM_PER_INCH / 72
#: What common printers leave white along the edges, with a little to spare [mm].
MARGIN_MM: Final = 10.0
SLIM_MARGIN_MM: Final = 7.0
#: Widths of lines that are cut along or read, and of strokes that are looked at [pt].
HAIRLINE_PT: Final = 0.35
STROKE_PT: Final = 0.9
RULER_MM: Final = 100
#: Lower edge of what a page is for; the ruler stands below it [mm].
FLOOR_MM: Final = 25.0
_LINE_PITCH: Final = 1.32


@dataclass(frozen=True)
class Paper:
    """A size of paper; ``turned`` for pages that lie on their long side."""

    name: str
    width_mm: float
    height_mm: float

    def turned(self) -> "Paper":
        """The same paper, on its side."""
        return Paper(self.name, self.height_mm, self.width_mm)


#: ISO 216, and the American letter size of 8.5 by 11 inches.
PAPERS: Final = {
    "a4": Paper("A4", 210.0, 297.0),
    "letter": Paper("letter", 8.5 * MM_PER_INCH, 11 * MM_PER_INCH),
    "a3": Paper("A3", 297.0, 420.0),
}


@dataclass(frozen=True, eq=False)
class Page:
    """A page under way; ``top_mm`` is the upper edge of the room that is still free below its heading."""

    kind: str
    paper: Paper
    axes: Axes
    top_mm: float

    @property
    def figure(self) -> Figure:
        """The page as matplotlib saves it."""
        figure = self.axes.get_figure(root=True)
        if figure is None:
            raise OutputError("a page has lost its figure")
        return figure


def open_page(kind: str, paper: Paper, title: str, says: str) -> Page:
    """A page with its heading, a few lines of instruction, and the ruler."""
    axes = _lay_paper(paper)
    wide = paper.width_mm - 2 * MARGIN_MM
    below = write(axes, MARGIN_MM, paper.height_mm - MARGIN_MM - 1, title, size_pt=15, weight="bold")
    below = write(axes, MARGIN_MM, below - 1.2, says, size_pt=8.5, width_mm=wide, colour=LIGHT["soft"])
    draw_ruler(axes, MARGIN_MM, MARGIN_MM)
    return Page(kind, paper, axes, below - 3)


def open_slim_page(kind: str, paper: Paper, title: str, says: str) -> Page:
    """The same with a heading of one line and the instruction beside the ruler, for what nearly fills the paper."""
    axes = _lay_paper(paper)
    below = write(axes, MARGIN_MM, paper.height_mm - SLIM_MARGIN_MM, title, size_pt=8.5, weight="bold")
    note_ends = draw_ruler(axes, MARGIN_MM, SLIM_MARGIN_MM, note_mm=68.0)
    wide = paper.width_mm - MARGIN_MM - note_ends - 8
    write(axes, note_ends + 8, SLIM_MARGIN_MM + 8.2, says, size_pt=7, width_mm=wide)
    return Page(kind, paper, axes, below - 0.5)


def _lay_paper(paper: Paper) -> Axes:
    figure = Figure(figsize=(paper.width_mm / MM_PER_INCH, paper.height_mm / MM_PER_INCH))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0, paper.width_mm), ylim=(0, paper.height_mm))
    axes.set_axis_off()
    return axes


def number_page(page: Page, number: int, total: int) -> None:
    """Write which page of how many it is."""
    right, top = page.paper.width_mm - MARGIN_MM, page.paper.height_mm - SLIM_MARGIN_MM
    text = f"matchvision targets · {page.paper.name} · page {number} of {total}"
    write(page.axes, right, top, text, size_pt=7, align="right", colour=LIGHT["soft"])


def draw_ruler(axes: Axes, left_mm: float, base_mm: float, note_mm: float = 82.0) -> float:
    """A ruler of 100 mm with a tick each millimetre, and what to do when it is not as long as it says.

    Returns
    -------
    float
        Where the note beside it ends [mm].
    """
    strokes = [[(left_mm, base_mm), (left_mm + RULER_MM, base_mm)]]
    for at in range(RULER_MM + 1):
        tall = 5.0 if at % 10 == 0 else 3.6 if at % 5 == 0 else 2.2
        strokes.append([(left_mm + at, base_mm), (left_mm + at, base_mm + tall)])
        if at % 10 == 0:
            unit = " mm" if at == RULER_MM else ""
            write(axes, left_mm + at, base_mm + 8.2, f"{at}{unit}", size_pt=6.5, align="center")
    axes.add_collection(LineCollection(strokes, colors=LIGHT["ink"], linewidths=HAIRLINE_PT, capstyle="butt"))
    text = (
        "Measure this ruler. If it is not 100 mm long, the print was scaled: print again at 100 % "
        "(“actual size”, not “fit to page”)."
    )
    note = left_mm + RULER_MM + 9
    write(axes, note, base_mm + 8.2, text, size_pt=7, width_mm=min(note_mm, axes.get_xlim()[1] - note - MARGIN_MM))
    return note + note_mm


def write(
    axes: Axes,
    x_mm: float,
    top_mm: float,
    text: str,
    *,
    size_pt: float,
    width_mm: float | None = None,
    align: str = "left",
    weight: str = "normal",
    colour: str = LIGHT["ink"],
    family: str = "DejaVu Sans",
) -> float:
    """Write text whose first line hangs from ``top_mm``, broken to ``width_mm``; returns where the next line hangs."""
    font = FontProperties(family=family, size=size_pt, weight=weight)
    lines = text.split("\n") if width_mm is None else _break_lines(text, width_mm, font)
    pitch = size_pt * MM_PER_POINT * _LINE_PITCH
    ascent = size_pt * MM_PER_POINT * 0.93
    for line in lines:
        axes.text(x_mm, top_mm - ascent, line, fontproperties=font, ha=align, va="baseline", color=colour)
        top_mm -= pitch
    return top_mm


def text_width_mm(text: str, font: FontProperties) -> float:
    """Width of a line of text."""
    width_pt, _, _ = text_to_path.get_text_width_height_descent(text, font, False)
    return float(width_pt) * MM_PER_POINT


def _break_lines(text: str, width_mm: float, font: FontProperties) -> list[str]:
    lines = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split():
            longer = f"{line} {word}" if line else word
            if line and text_width_mm(longer, font) > width_mm:
                lines.append(line)
                longer = word
            line = longer
        lines.append(line)
    return lines


def draw_line(
    axes: Axes,
    start_mm: tuple[float, float],
    end_mm: tuple[float, float],
    *,
    width_pt: float = STROKE_PT,
    colour: str = LIGHT["ink"],
    dashes: tuple[float, float] | None = None,
    below: bool = False,
) -> None:
    """A straight line with square ends that stop where it stops; ``below`` lets filled shapes cover it."""
    (line,) = axes.plot(
        [start_mm[0], end_mm[0]], [start_mm[1], end_mm[1]], color=colour, linewidth=width_pt, solid_capstyle="butt"
    )
    if below:
        line.set_zorder(0.5)
    if dashes is not None:
        line.set_dashes(list(dashes))


def draw_arrow(
    axes: Axes,
    start_mm: tuple[float, float],
    end_mm: tuple[float, float],
    *,
    colour: str = LIGHT["ink"],
    both: bool = False,
    width_pt: float = STROKE_PT,
) -> None:
    """An arrow, or a dimension line with a head at each end."""
    style = "<|-|>" if both else "-|>"
    look = {
        "arrowstyle": f"{style},head_length=0.35,head_width=0.14", "color": colour, "linewidth": width_pt,
        "shrinkA": 0, "shrinkB": 0, "joinstyle": "miter",
    }  # fmt: skip
    axes.annotate("", xy=end_mm, xytext=start_mm, arrowprops=look, annotation_clip=False)


def draw_box(
    axes: Axes,
    left_mm: float,
    base_mm: float,
    width_mm: float,
    height_mm: float,
    *,
    fill: str | None = None,
    edge: str | None = None,
    width_pt: float = HAIRLINE_PT,
) -> None:
    """A rectangle: filled, drawn round, or both."""
    axes.add_patch(
        Rectangle(
            (left_mm, base_mm), width_mm, height_mm, facecolor=fill or "none", edgecolor=edge or "none",
            linewidth=width_pt if edge else 0,
        )
    )  # fmt: skip


def draw_disc(
    axes: Axes,
    centre_mm: tuple[float, float],
    radius_mm: float,
    *,
    fill: str | None = None,
    edge: str | None = None,
    dashed: bool = False,
) -> None:
    """A circle: filled, drawn round, or both."""
    axes.add_patch(
        Circle(
            centre_mm, radius_mm, facecolor=fill or "none", edgecolor=edge or "none",
            linewidth=HAIRLINE_PT if edge else 0, linestyle=(0, (4, 3)) if dashed else "solid",
        )
    )  # fmt: skip


def mark_cuts(axes: Axes, left_mm: float, base_mm: float, width_mm: float, height_mm: float, long_mm: float) -> None:
    """Cutting marks at the four corners of a piece, outside of it: lay a steel rule from mark to mark."""
    gap = 1.0
    for x, out_x in ((left_mm, -1), (left_mm + width_mm, 1)):
        for y, out_y in ((base_mm, -1), (base_mm + height_mm, 1)):
            draw_line(axes, (x + out_x * gap, y), (x + out_x * (gap + long_mm), y), width_pt=HAIRLINE_PT)
            draw_line(axes, (x, y + out_y * gap), (x, y + out_y * (gap + long_mm)), width_pt=HAIRLINE_PT)


def refuse_too_large(what: str, needed_mm: tuple[float, float], room_mm: tuple[float, float], paper: Paper) -> None:
    """Refuse a piece that does not fit its page at true size.

    Raises
    ------
    OutputError
        With the sizes, and what to change.
    """
    if needed_mm[0] <= room_mm[0] + 1e-6 and needed_mm[1] <= room_mm[1] + 1e-6:
        return
    larger = "" if paper.name == "A3" else ", or larger paper: --paper a3"
    raise OutputError(
        f"{what} needs {needed_mm[0]:.0f} × {needed_mm[1]:.0f} mm at true size, and {paper.name} has room for "
        f"{room_mm[0]:.0f} × {room_mm[1]:.0f} mm",
        do=f"choose a smaller one{larger}",
    )
