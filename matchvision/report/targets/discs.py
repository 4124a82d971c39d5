"""Pages of colour discs for the machines, and of strips that colour the rope's beads."""

from typing import Final

import numpy as np

from matchvision.report.palette import LIGHT
from matchvision.report.targets.paper import (
    FLOOR_MM,
    HAIRLINE_PT,
    MARGIN_MM,
    Page,
    Paper,
    draw_box,
    draw_disc,
    draw_line,
    open_page,
    refuse_too_large,
    write,
)
from matchvision.report.targets.planning import DiscPrint, TargetPlan, WrapPrint

#: White ring that is left on round a disc, as a share of its radius; it gives the disc the same edge on any machine.
_RING_RATIO: Final = 0.22
#: Paper that a wrap needs to be glued onto itself [mm].
_OVERLAP_MM: Final = 8.0
_LABEL_MM: Final = 11.0
_ROW_GAP_MM: Final = 3.0
_COLUMN_GAP_MM: Final = 6.0
_WRAP_GAP_MM: Final = 2.0


def ring_radius_mm(radius_mm: float) -> float:
    """Radius of the white ring that stays round a disc."""
    return radius_mm * (1 + _RING_RATIO)


def draw_disc_with_ring(page: Page, disc: DiscPrint, centre_mm: tuple[float, float]) -> None:
    """A disc, the circle to cut along, and four ticks in the white ring that help to centre it."""
    axes, ring = page.axes, ring_radius_mm(disc.radius_mm)
    draw_disc(axes, centre_mm, disc.radius_mm, fill=disc.srgb or LIGHT["rule"])
    draw_disc(axes, centre_mm, ring, edge=LIGHT["soft"])
    for angle in np.deg2rad([0, 90, 180, 270]):
        way = np.array([np.cos(angle), np.sin(angle)])
        inner, outer = (
            np.array(centre_mm) + way * (ring - 0.1 * disc.radius_mm),
            np.array(centre_mm) + way * (ring + 1.2),
        )
        draw_line(axes, (inner[0], inner[1]), (outer[0], outer[1]), width_pt=HAIRLINE_PT, colour=LIGHT["soft"])


def draw_disc_pages(plan: TargetPlan, paper: Paper) -> list[Page]:
    """Discs in rows, as many pages as they need.

    Raises
    ------
    OutputError
        For a disc that does not fit the paper.
    """
    says = (
        "Print on matt paper; cut along the thin circles so that a white ring stays on. The diameter is that of the "
        "colour; the sheet wants half of it as radius_m. Printers and lamps change colours: photograph the discs where "
        "you will film, and write the colours that the picture shows into the sheet."
    )
    pages: list[Page] = []
    waiting = list(plan.discs)
    while waiting:
        page = open_page("discs", paper, "Colour discs", says)
        bottom = FLOOR_MM + (22 if not pages else 0)
        if not pages:
            _write_colours(page, plan, bottom - 3)
        placed = _fill_with_discs(page, waiting, bottom)
        waiting = waiting[placed:]
        pages.append(page)
    return pages


def _fill_with_discs(page: Page, discs: list[DiscPrint], bottom_mm: float) -> int:
    """Draw discs until the page is full; how many there are on it."""
    room = (page.paper.width_mm - 2 * MARGIN_MM, page.top_mm - bottom_mm)
    largest = max(ring_radius_mm(disc.radius_mm) for disc in discs)
    wide, tall = max(2 * largest + 6, 36.0), 2 * largest + _LABEL_MM
    refuse_too_large(f"a disc of {2 * max(disc.radius_mm for disc in discs):g} mm", (wide, tall), room, page.paper)
    columns = int(room[0] // wide)
    rows = int((room[1] + _ROW_GAP_MM) // (tall + _ROW_GAP_MM))
    for i, disc in enumerate(discs[: columns * rows]):
        x = MARGIN_MM + room[0] / columns * (i % columns + 0.5)
        centre = (x, page.top_mm - (i // columns) * (tall + _ROW_GAP_MM) - largest - 1.5)
        draw_disc_with_ring(page, disc, centre)
        foot = centre[1] - largest - 2.2
        if disc.label:
            foot = write(page.axes, x, foot, disc.label, size_pt=7, align="center", weight="bold")
        told = f"{disc.colour} · ⌀ {2 * disc.radius_mm:.4g} mm"
        write(page.axes, x, foot, told, size_pt=7, align="center", colour=LIGHT["soft"])
    return min(len(discs), columns * rows)


def _write_colours(page: Page, plan: TargetPlan, top_mm: float) -> None:
    codes = {disc.colour: disc.srgb for disc in plan.discs}
    head = "In the run sheet, as printed here (better: as your camera sees them)"
    below = write(page.axes, MARGIN_MM, top_mm, head, size_pt=8.5, weight="bold")
    each = (page.paper.width_mm - 2 * MARGIN_MM) / 3
    for i, (name, code) in enumerate(list(codes.items())[:9]):
        line = f'[colour.{name}]  srgb = "{code}"'
        at = (MARGIN_MM + each * (i % 3), below - 0.8 - 4.0 * (i // 3))
        write(page.axes, *at, line, size_pt=6.5, family="DejaVu Sans Mono")


def draw_wrap_pages(plan: TargetPlan, paper: Paper) -> list[Page]:
    """Strips for the beads, in the order in which they sit on the cord.

    Raises
    ------
    OutputError
        For a strip that does not fit the paper.
    """
    diameters = sorted({2 * wrap.radius_mm for wrap in plan.wraps})
    told = " and ".join(f"{d:.4g} mm round: {np.pi * d:.1f} mm of colour" for d in diameters)
    says = (
        f"For beads {told}, and {_OVERLAP_MM:g} mm to glue. Cut out, wrap round the bead with the cord through its "
        "middle, glue the white tab under the colour. A bead is as long on the cord as it is thick. No beads? Wrap "
        "pieces of pipe foam, or layers of tape. Not flags: they hang beside the cord and turn."
    )
    pages: list[Page] = []
    waiting = list(plan.wraps)
    while waiting:
        page = open_page("beads", paper, "Wraps for beads", says)
        placed = _fill_with_wraps(page, waiting)
        waiting = waiting[placed:]
        pages.append(page)
    return pages


def _fill_with_wraps(page: Page, wraps: list[WrapPrint]) -> int:
    room = (page.paper.width_mm - 2 * MARGIN_MM, page.top_mm - FLOOR_MM)
    largest = max(wrap.radius_mm for wrap in wraps)
    wide, tall = 2 * np.pi * largest + _OVERLAP_MM, 2 * largest + 5.5
    refuse_too_large(f"a wrap for a bead of {2 * largest:g} mm", (wide, tall), room, page.paper)
    columns = int((room[0] + _COLUMN_GAP_MM) // (wide + _COLUMN_GAP_MM))
    rows = int((room[1] + _WRAP_GAP_MM) // (tall + _WRAP_GAP_MM))
    pitch = (room[0] + _COLUMN_GAP_MM) / columns
    for i, wrap in enumerate(wraps[: columns * rows]):
        base = page.top_mm - (i // columns) * (tall + _WRAP_GAP_MM) - tall
        _draw_wrap(page, wrap, MARGIN_MM + pitch * (i % columns), base)
    return min(len(wraps), columns * rows)


def _draw_wrap(page: Page, wrap: WrapPrint, left_mm: float, base_mm: float) -> None:
    around, high = 2 * np.pi * wrap.radius_mm, 2 * wrap.radius_mm
    draw_box(page.axes, left_mm, base_mm, around, high, fill=wrap.srgb or LIGHT["rule"])
    draw_box(page.axes, left_mm, base_mm, around + _OVERLAP_MM, high, edge=LIGHT["soft"])
    write(page.axes, left_mm + around + _OVERLAP_MM / 2, base_mm + high / 2 + 1.2, "glue", size_pt=6, align="center",
          colour=LIGHT["soft"])  # fmt: skip
    top = base_mm + high + 3.9
    place = f" · {wrap.place}" if wrap.place else ""
    write(page.axes, left_mm, top, f"{wrap.label} · {wrap.colour}{place}", size_pt=6.5)
