"""Pages of wheel faces: rim dots on their circle, a quarter turn apart, to glue on or to pierce through."""

from typing import Final

import numpy as np

from matchvision.report.palette import LIGHT
from matchvision.report.targets.discs import draw_disc_with_ring, ring_radius_mm
from matchvision.report.targets.paper import (
    FLOOR_MM,
    HAIRLINE_PT,
    MARGIN_MM,
    Page,
    Paper,
    draw_arrow,
    draw_disc,
    draw_line,
    open_page,
    refuse_too_large,
    write,
)
from matchvision.report.targets.planning import RimPrint, TargetPlan

_LABELS_MM: Final = 29.0


def draw_rim_pages(plan: TargetPlan, paper: Paper) -> list[Page]:
    """Wheel faces, two side by side where they fit, with loose dots below each.

    Raises
    ------
    OutputError
        For a wheel that does not fit the paper.
    """
    says = (
        "Either cut the face out along the dashed circle, punch the hub and glue it on the wheel: the dots sit right. "
        "Or pierce the dots' middles, mark them through on the wheel, and glue the loose dots there. What counts is "
        "the angle between two dots, the circle they sit on, and that this circle runs true round the wheel's middle."
    )
    pages: list[Page] = []
    waiting = list(plan.rims)
    while waiting:
        page = open_page("rims", paper, "Rim dots for wheels", says)
        placed = _fill_with_rims(page, waiting)
        waiting = waiting[placed:]
        pages.append(page)
    return pages


def _fill_with_rims(page: Page, rims: list[RimPrint]) -> int:
    x, top, tallest, placed = MARGIN_MM, page.top_mm, 0.0, 0
    room = (page.paper.width_mm - 2 * MARGIN_MM, page.top_mm - FLOOR_MM)
    for rim in rims:
        loose = 2 * max(ring_radius_mm(dot.disc.radius_mm) for dot in rim.dots)
        wide = max(2 * rim.wheel_radius_mm, 60.0, len(rim.dots) * max(loose + 8, 34))
        needed = 2 * rim.wheel_radius_mm + _LABELS_MM + loose
        if placed == 0:
            what = f"the face of a wheel of {2 * rim.wheel_radius_mm:g} mm"
            refuse_too_large(what, (wide, needed), room, page.paper)
        if x + wide > page.paper.width_mm - MARGIN_MM + 1e-6:
            x, top, tallest = MARGIN_MM, top - tallest, 0.0
        if top - needed < FLOOR_MM:
            break
        _draw_face(page, rim, (x + wide / 2, top - 14 - rim.wheel_radius_mm))
        x += wide + 8
        tallest = max(tallest, needed + 4)
        placed += 1
    return placed


def place_dot(rim: RimPrint, circle_mm: float, angle_deg: float) -> tuple[float, float]:
    """Where a dot lies on the page, from the wheel's middle, as one looks at the wheel from outside.

    From the machine's left side forward is to the left; from its right side it is to the right.

    Notes
    -----
    Checked by: tests/report/test_targets.py::test_rim_dots_turn_the_way_the_sheet_counts
    """
    angle = np.deg2rad(angle_deg)
    forward = -1 if rim.left else 1
    return forward * circle_mm * float(np.cos(angle)), circle_mm * float(np.sin(angle))


def _draw_face(page: Page, rim: RimPrint, middle_mm: tuple[float, float]) -> None:
    axes, soft = page.axes, LIGHT["soft"]
    x, y = middle_mm
    above = y + rim.wheel_radius_mm
    write(axes, x, above + 13.5, rim.label, size_pt=8.5, weight="bold", align="center")
    seen = "left" if rim.left else "right"
    write(axes, x, above + 9.5, f"seen from the machine's {seen}", size_pt=7, align="center", colour=soft)
    draw_disc(axes, middle_mm, rim.wheel_radius_mm, edge=soft)
    for dot in rim.dots:
        draw_disc(axes, middle_mm, dot.circle_mm, edge=LIGHT["rule"])
    reach = max(dot.circle_mm + dot.disc.radius_mm for dot in rim.dots)
    cut = min(reach + 3, rim.wheel_radius_mm - 0.5)
    if cut > reach:
        draw_disc(axes, middle_mm, cut, edge=soft, dashed=True)
    for angle in (0.0, 90.0, 180.0, 270.0):
        out_x, out_y = place_dot(rim, rim.wheel_radius_mm, angle)
        draw_line(axes, middle_mm, (x + out_x, y + out_y), width_pt=HAIRLINE_PT, colour=LIGHT["rule"], below=True)
    draw_disc(axes, middle_mm, 1.5, fill="white", edge=soft)
    for dot in rim.dots:
        at_x, at_y = place_dot(rim, dot.circle_mm, dot.angle_deg)
        draw_disc(axes, (x + at_x, y + at_y), dot.disc.radius_mm, fill=dot.disc.srgb or LIGHT["rule"])
        for way in ((1.6, 0.0), (0.0, 1.6)):
            draw_line(axes, (x + at_x - way[0], y + at_y - way[1]), (x + at_x + way[0], y + at_y + way[1]),
                      width_pt=HAIRLINE_PT, colour="white")  # fmt: skip
    _draw_arrows(page, rim, middle_mm)
    foot = y - rim.wheel_radius_mm - 5.5
    count = len(rim.dots)
    for i, dot in enumerate(rim.dots):
        ring = ring_radius_mm(dot.disc.radius_mm)
        at_x = x + (i - (count - 1) / 2) * max(2 * ring + 8, 34)
        draw_disc_with_ring(page, dot.disc, (at_x, foot - ring))
        told = f"{dot.disc.colour} · ⌀ {2 * dot.disc.radius_mm:.4g} mm"
        below = write(axes, at_x, foot - 2 * ring - 1.8, dot.disc.label, size_pt=6.5, weight="bold", align="center")
        where = f"{dot.angle_deg:g}°, {dot.circle_mm:.4g} mm from middle"
        write(axes, at_x, below, f"{told}\n{where}", size_pt=6.5, align="center", colour=soft)


def _draw_arrows(page: Page, rim: RimPrint, middle_mm: tuple[float, float]) -> None:
    """Forward along the top of the face, up beside it."""
    x, y = middle_mm
    way = -1 if rim.left else 1
    above = y + rim.wheel_radius_mm + 3.2
    draw_arrow(page.axes, (x - 9 * way, above), (x + 11 * way, above))
    align = "right" if rim.left else "left"
    write(page.axes, x + 12.5 * way, above + 1.2, "forward", size_pt=7, align=align)
