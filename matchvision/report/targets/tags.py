"""Tag pages: one tag a page, its cutting marks, which way it lies, and what to write into the sheet."""

from typing import Final

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from matchvision.errors import TableError
from matchvision.records.sheet import TableSheet, Tag
from matchvision.report.palette import LIGHT
from matchvision.report.targets.paper import (
    FLOOR_MM,
    MARGIN_MM,
    Page,
    Paper,
    draw_arrow,
    draw_box,
    draw_line,
    mark_cuts,
    open_page,
    refuse_too_large,
    write,
)
from matchvision.report.targets.planning import TagPrint, TargetPlan

_FAMILIES: Final = {
    "36h11": (cv2.aruco.DICT_APRILTAG_36h11, 8),
    "25h9": (cv2.aruco.DICT_APRILTAG_25h9, 7),
    "16h5": (cv2.aruco.DICT_APRILTAG_16h5, 6),
}
#: Height of the strip that stays on the cut tag and names it, and of the room for the sheet's lines below [mm].
_STRIP_MM: Final = 9.0
_LINES_MM: Final = 38.0
_CUT_MM: Final = 5.0


def draw_tag_pages(plan: TargetPlan, paper: Paper) -> list[Page]:
    """A page for each tag.

    Raises
    ------
    TableError
        For an id that the family does not have.
    OutputError
        For a tag that does not fit the paper at true size.
    """
    return [_draw_tag_page(printed, plan, paper) for printed in plan.tags]


def _draw_tag_page(printed: TagPrint, plan: TargetPlan, paper: Paper) -> Page:
    tag = printed.tag
    side = 1000 * tag.side_m
    cells = _FAMILIES[tag.family][1]
    says = (
        "Print on matt paper or card, cut from mark to mark, glue it down flat over its whole face. The white rim "
        "belongs to the tag: keep it. Measure the black square both ways and write what you find into the sheet."
    )
    page = open_page("tags", paper, f"Tag {tag.id} of family {tag.family}, {side:g} mm", says)
    quiet = side / cells
    wide, tall = side + 2 * quiet, side + 2 * quiet + _STRIP_MM
    room = (paper.width_mm - 2 * MARGIN_MM + 4, page.top_mm - FLOOR_MM - _LINES_MM - _CUT_MM)
    refuse_too_large(f"tag {tag.id} with its white rim ({side:g} mm of black)", (wide, tall), room, paper)
    left = (paper.width_mm - wide) / 2
    base = page.top_mm - _CUT_MM - tall
    draw_tag(page.axes, tag, left + quiet, base + _STRIP_MM + quiet)
    mark_cuts(page.axes, left, base, wide, tall, _CUT_MM - 1)
    _draw_strip(page.axes, tag, left, base, wide)
    foot = base - _CUT_MM - 2
    _write_lines(page.axes, printed, foot)
    _draw_map(page.axes, printed, plan, paper, foot)
    return page


def draw_tag(axes: Axes, tag: Tag, left_mm: float, base_mm: float) -> None:
    """The black parts of a tag, its upright print's lower left corner at the given place.

    Raises
    ------
    TableError
        For an id that the family does not have.

    Notes
    -----
    All black cells are one outline: painted one by one, they would show hairlines between them in many viewers.
    Checked by: tests/report/test_targets.py::test_tags_have_their_true_size_and_lie_the_right_way_up
    """
    code, cells = _FAMILIES[tag.family]
    dictionary = cv2.aruco.getPredefinedDictionary(code)
    count = len(dictionary.bytesList)
    if tag.id >= count:
        raise TableError(
            f"there is no tag {tag.id} in family {tag.family}: it ends at {count - 1}", do="choose smaller ids"
        )
    black = np.asarray(cv2.aruco.generateImageMarker(dictionary, tag.id, cells, borderBits=1)) < 128
    cell = 1000 * tag.side_m / cells
    corners, codes = [], []
    for row, col in np.argwhere(black):
        x, y = left_mm + col * cell, base_mm + (cells - 1 - row) * cell
        corners += [(x, y), (x + cell, y), (x + cell, y + cell), (x, y + cell), (x, y)]
        codes += [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY]
    axes.add_patch(PathPatch(Outline(corners, codes), facecolor="black", edgecolor="none", linewidth=0))


def name_direction(angle_deg: float) -> str:
    """A direction on the table in words, its angle counted from +x towards +y."""
    turned = angle_deg % 360
    for right, name in ((0, "+x"), (90, "+y"), (180, "−x"), (270, "−y")):
        if abs(turned - right) < 1e-6:
            return name
    return f"{turned:g}° from +x towards +y"


def _draw_strip(axes: Axes, tag: Tag, left_mm: float, base_mm: float, wide_mm: float) -> None:
    """What stays on the cut tag, below its white rim: its name and which way it lies."""
    soft = LIGHT["soft"]
    draw_line(axes, (left_mm + 2, base_mm + _STRIP_MM), (left_mm + wide_mm - 2, base_mm + _STRIP_MM), width_pt=0.25,
              colour=LIGHT["rule"])  # fmt: skip
    small = 7.5 if wide_mm > 90 else 4.5
    top = base_mm + _STRIP_MM / 2 + 0.18 * small
    name, edge, right = f"{tag.id} · {tag.family}", "▼ this edge towards ", f"{name_direction(tag.angle_deg)} ▶"
    edge += name_direction(tag.angle_deg - 90)
    if tag.angle_deg % 90:
        edge, right = f"▶ {name_direction(tag.angle_deg)}", ""
    if wide_mm < 60:
        name, edge, right = str(tag.id), edge.replace("this edge towards ", ""), ""
    write(axes, left_mm + 3, top, name, size_pt=small, weight="bold")
    write(axes, left_mm + wide_mm / 2, top, edge, size_pt=small, align="center", colour=soft)
    write(axes, left_mm + wide_mm - 3, top, right, size_pt=small, align="right", colour=soft)


def _write_lines(axes: Axes, printed: TagPrint, top_mm: float) -> None:
    tag = printed.tag
    place = f"[{tag.centre_m[0]:g}, {tag.centre_m[1]:g}]" if printed.placed else "[_______, _______]"
    lines = (
        "[[table.tag]]\n"
        f'family = "{tag.family}"\n'
        f"id = {tag.id}\n"
        f"side_m = {tag.side_m:.4f}      # as measured: 0.______\n"
        f"centre_m = {place}  # its middle\n"
        f"angle_deg = {tag.angle_deg:g}\n"
        "# thickness_m = 0.000__     of paper and card together"
    )
    below = write(axes, MARGIN_MM, top_mm, "In the run sheet", size_pt=8.5, weight="bold")
    write(axes, MARGIN_MM, below - 0.8, lines, size_pt=8, family="DejaVu Sans Mono")


def _draw_map(axes: Axes, printed: TagPrint, plan: TargetPlan, paper: Paper, top_mm: float) -> None:
    """The table from above, so that the tag comes to lie where the sheet says, the right way round."""
    table: TableSheet = plan.table
    scale = min(62 / (table.length_m + 0.2), 24 / (table.width_m + 0.2))
    middle = (paper.width_mm - MARGIN_MM - 34, top_mm - 5 - scale * table.width_m / 2 - 1)

    def on_page(x_m: float, y_m: float) -> tuple[float, float]:
        return middle[0] + scale * x_m, middle[1] + scale * y_m

    write(axes, middle[0], top_mm, "On the table, from above", size_pt=8.5, weight="bold", align="center")
    corner = on_page(-table.length_m / 2, -table.width_m / 2)
    draw_box(axes, *corner, scale * table.length_m, scale * table.width_m, fill=LIGHT["paper"], edge=LIGHT["edge"],
             width_pt=0.7)  # fmt: skip
    draw_arrow(axes, on_page(0, 0), on_page(0.36 * table.length_m / 2, 0), width_pt=0.6)
    draw_arrow(axes, on_page(0, 0), on_page(0, 0.62 * table.width_m / 2), width_pt=0.6)
    x_end, y_end = on_page(0.36 * table.length_m / 2, 0), on_page(0, 0.62 * table.width_m / 2)
    write(axes, x_end[0] + 1.2, x_end[1] + 1.2, "x", size_pt=7)
    write(axes, y_end[0] + 1.2, y_end[1] + 1.5, "y", size_pt=7)
    half_x, half_y = table.length_m / 2, table.width_m / 2
    places = [(other.tag.centre_m, other is printed) for other in plan.tags if other.placed] or [
        ((sx * 0.88 * half_x, sy * 0.78 * half_y), False) for sx in (-1, 1) for sy in (-1, 1)
    ]
    for (x_m, y_m), same in places:
        x, y = on_page(x_m, y_m)
        draw_box(axes, x - 1.3, y - 1.3, 2.6, 2.6, fill=LIGHT["ink"] if same else "white", edge=LIGHT["ink"])
    text = "This tag is the black one." if printed.placed else "One tag near each corner."
    write(axes, middle[0], corner[1] - 1.2, f"{text} The lower edge is −y.", size_pt=6.5, align="center",
          colour=LIGHT["soft"])  # fmt: skip
