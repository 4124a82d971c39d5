"""The filming card: one page to take to the table, with where to stand, what to set and what to beware of."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Arc, Polygon

from matchvision.records.sheet import TableSheet
from matchvision.report.palette import LIGHT
from matchvision.report.targets.paper import (
    MARGIN_MM,
    Page,
    Paper,
    draw_arrow,
    draw_box,
    draw_disc,
    draw_line,
    open_page,
    write,
)
from matchvision.report.targets.planning import TargetPlan

#: Where the phone stands, as shares of the table's length: out from the near edge, and above the table's top. With a
#: phone's main lens (picture 1.3 times as wide as its distance) the table then fills three quarters of the width,
#: which leaves room for a crop, and the phone looks down by 30° to 40°.
OUT_RATIO: Final = 0.70
HEIGHT_RATIO: Final = 0.67
#: Width of what a phone's main lens sees at a distance of one, and a usual table's height [m].
_VIEW_RATIO: Final = 1.3
_TABLE_HEIGHT_M: Final = 0.75


@dataclass(frozen=True)
class Stand:
    """Where the phone stands.

    Attributes
    ----------
    out_m : float
        From the table's near edge, along the floor, to a tenth of a metre.
    height_m : float
        Above the table's top, to a tenth of a metre.
    angle_deg : float
        How far it looks down to see the table's middle in its middle.
    """

    out_m: float
    height_m: float
    angle_deg: float


def choose_stand(table: TableSheet) -> Stand:
    """A place for the phone from which the whole table is in view with room to spare."""
    out_m = max(round(OUT_RATIO * table.length_m, 1), 0.3)
    height_m = max(round(HEIGHT_RATIO * table.length_m, 1), 0.3)
    return Stand(out_m, height_m, float(np.rad2deg(np.arctan2(height_m, out_m + table.width_m / 2))))


def _sections(stand: Stand) -> tuple[tuple[str, tuple[str, ...]], ...]:
    return (
        ("Stand", (
            f"Beside the table's middle, where one sees the marked wheels: {stand.out_m:.1f} m out from the near edge, "
            f"{stand.height_m:.1f} m above the table top, looking down by about {stand.angle_deg:.0f}° "
            "(drawn here: the −y side). Below 25° the far side gets unsure.",
            "Phone on a stand, lying sideways, main lens at 1×: no zoom, no wide angle, nothing moves it.",
        )),
        ("In view", (
            "All tags whole and uncovered, with some table or floor around them; no lamp mirrored in them.",
            "Both machines and all of the rope, from the start until the end.",
            "The start: a lamp in view, a clear sound, or a hand signal.",
        )),
        ("Set", (
            "60 pictures a second or more, 1920 × 1080 or more.",
            "Exposure and focus locked: hold a finger on the table till the lock shows. White balance too, if you can.",
            "Shutter 1/250 s or shorter. So: much light, even, without flicker (no dark bands crawling on the screen).",
            "No stabilisation (it crops and shifts the picture), no HDR, no beauty or night mode.",
            "Once with each phone: 2 s of the empty table under mains lamps, with a short shutter: matchvision footage "
            "then tells how it reads its rows.",
        )),
        ("Film", (
            "First take a still out of a second of film: matchvision footage STILL --sheet RUN says whether you may "
            "start.",
            "Start 2 s before the start signal; stop 2 s after the end.",
            "Hands off phone, stand and table from before the signal until after the end.",
            "Then look: is everything in view and sharp? Keep the file as it is; send it as a file, not by a chat.",
        )),
        ("People", (
            "Ask all who may be in view before you film, and the guardians of minors. Aim at the table, not at faces.",
            "The stand blocks no way and cannot fall on anybody. Judges, local rules and the supervisor decide.",
        )),
        ("Safety", (
            "Eye protection. A taut rope or sprung arm lets go without warning: nobody stands in line with it.",
            "Hang and lift tests: masses hang low, feet and hands clear of what may fall.",
            "Fingers out of gears, wheels and clamps; suction lets go suddenly. Hands off while the clock runs.",
            "Batteries: charge, fuse and wire only as the workshop's electrical rules and licensed people allow.",
        )),
    )  # fmt: skip


def draw_card_page(plan: TargetPlan, paper: Paper) -> Page:
    """The filming card, on one page.

    Notes
    -----
    Checked by: tests/report/test_targets.py::test_the_card_is_one_page_and_says_what_matters
    """
    stand = choose_stand(plan.table)
    table = f"a table of {plan.table.length_m:g} × {plan.table.width_m:g} m"
    says = f"For {plan.of}, on {table}." if plan.table_known else f"For {table}; on another one, in proportion."
    page = open_page("card", paper, "Filming card", f"{says} Take this page to the table and tick as you go.")
    foot = _draw_places(page, plan, stand)
    sections = _sections(stand)
    gap = 8.0
    wide = (paper.width_mm - 2 * MARGIN_MM - gap) / 2
    for left, part in ((MARGIN_MM, sections[:3]), (MARGIN_MM + wide + gap, sections[3:])):
        top = foot
        for title, points in part:
            top = _write_section(page.axes, left, top, wide, title, points)
    return page


def _write_section(
    axes: Axes, left_mm: float, top_mm: float, wide_mm: float, title: str, points: tuple[str, ...]
) -> float:
    colour = LIGHT["plus"] if title in ("People", "Safety") else LIGHT["minus"]
    top = write(axes, left_mm, top_mm, title, size_pt=11.5, weight="bold", colour=colour) - 0.8
    for point in points:
        draw_box(axes, left_mm, top - 3.3, 2.8, 2.8, edge=LIGHT["ink"], width_pt=0.6)
        top = write(axes, left_mm + 5.2, top, point, size_pt=8.9, width_mm=wide_mm - 5.2) - 1.1
    return top - 2.4


def _draw_places(page: Page, plan: TargetPlan, stand: Stand) -> float:
    """Both drawings side by side at one scale; returns where the text may begin."""
    table = plan.table
    around_m = 0.12 * table.length_m
    deep_m = table.width_m + stand.out_m
    wide = page.paper.width_mm - 2 * MARGIN_MM - 28
    # Leave the text the lower half.
    tall = 0.31 * page.paper.height_mm
    scale = min(wide / (table.length_m + deep_m + 2.5 * around_m), tall / deep_m)
    top = page.top_mm
    above = (MARGIN_MM + scale * (table.length_m / 2 + around_m), top - 6 - scale * table.width_m / 2)
    _draw_from_above(page.axes, plan, stand, above, scale, top)
    near_x = page.paper.width_mm - MARGIN_MM - 13 - scale * (stand.out_m + around_m / 2)
    base = top - 6 - scale * (table.width_m + stand.out_m) - 4
    _draw_from_side(page.axes, table, stand, (near_x, base), scale, top)
    return base - 9


def _draw_from_above(
    axes: Axes, plan: TargetPlan, stand: Stand, middle_mm: tuple[float, float], scale: float, top_mm: float
) -> None:
    table = plan.table
    half_x, half_y = table.length_m / 2, table.width_m / 2

    def on_page(x_m: float, y_m: float) -> tuple[float, float]:
        return middle_mm[0] + scale * x_m, middle_mm[1] + scale * y_m

    left = on_page(-half_x, 0)[0]
    write(axes, left, top_mm, "From above", size_pt=8.5, weight="bold")
    phone = on_page(0, -half_y - stand.out_m)
    _draw_view(axes, table, stand, middle_mm, scale)
    draw_box(axes, *on_page(-half_x, -half_y), 2 * scale * half_x, 2 * scale * half_y, fill=LIGHT["paper"],
             edge=LIGHT["edge"], width_pt=0.9)  # fmt: skip
    draw_line(axes, on_page(0, -half_y), on_page(0, half_y), width_pt=0.5, colour=LIGHT["edge"], dashes=(4, 3))
    places = [printed.tag.centre_m for printed in plan.tags if printed.placed] or [
        (sx * (half_x - 0.13), sy * (half_y - 0.13)) for sx in (-1, 1) for sy in (-1, 1)
    ]
    for x_m, y_m in places:
        x, y = on_page(x_m, y_m)
        draw_box(axes, x - 1.5, y - 1.5, 3, 3, fill=LIGHT["ink"])
    for text, x_m, y_m in (("−x", -0.9, 0), ("+x", 0.9, 0), ("+y", 0.09, 0.9), ("−y", 0.09, -0.72)):
        x, y = on_page(x_m * half_x, y_m * half_y)
        write(axes, x, y + 1.3, text, size_pt=7, align="center", colour=LIGHT["soft"])
    long_m = 0.27 * half_x
    for role, way in (("minus", -1), ("plus", 1)):
        x, y = on_page(way * 0.5 * half_x, 0)
        draw_line(axes, on_page(0, 0), (x, y), width_pt=1.2, colour=LIGHT[role])
        wide, tall = scale * long_m, 0.8 * scale * long_m
        draw_box(axes, x - wide / 2, y - tall / 2, wide, tall, fill="white", edge=LIGHT[role], width_pt=1.1)
        draw_arrow(axes, (x - way * 1.5, y), (x + way * wide / 2, y), colour=LIGHT[role], width_pt=1.1)
    for at in np.linspace(-0.3, 0.3, 7):
        draw_disc(axes, on_page(at * half_x, 0), 0.7, fill=LIGHT["minus" if at < 0 else "plus"])
    _draw_phone(axes, phone)
    note_x = phone[0] + 4
    draw_arrow(axes, (phone[0], phone[1] + 2), (phone[0], on_page(0, -half_y)[1]), both=True, width_pt=0.7)
    write(axes, note_x - 2.2, (phone[1] + on_page(0, -half_y)[1]) / 2 + 1.5, f"{stand.out_m:.1f} m", size_pt=8)
    write(axes, note_x + 1, phone[1] + 1.5, "phone", size_pt=8)
    tag_x, tag_y = on_page(-half_x, -half_y)
    write(axes, tag_x, tag_y - 1.5, "■ tags", size_pt=7, colour=LIGHT["soft"])


def _draw_view(axes: Axes, table: TableSheet, stand: Stand, middle_mm: tuple[float, float], scale: float) -> None:
    """What the phone sees of the plane of the table's top, as far as the drawing goes."""
    near = table.width_m / 2
    down = np.deg2rad(stand.angle_deg)
    room = 0.62 * table.length_m
    corners = [(0.0, -near - stand.out_m)]
    right = []
    for y_m in (-near, near):
        depth_m = (y_m + near + stand.out_m) * np.cos(down) + stand.height_m * np.sin(down)
        right.append((min(_VIEW_RATIO / 2 * float(depth_m), room), y_m))
    corners += [*right, *((-x_m, y_m) for x_m, y_m in right[::-1])]
    places = [(middle_mm[0] + scale * x_m, middle_mm[1] + scale * y_m) for x_m, y_m in corners]
    axes.add_patch(Polygon(places, facecolor=LIGHT["minus-tint"], edgecolor="none", zorder=0))


def _draw_from_side(
    axes: Axes, table: TableSheet, stand: Stand, near_mm: tuple[float, float], scale: float, top_mm: float
) -> None:
    """The table on its legs at the left, seen along the pull; the phone on its stand at the right."""
    near_x, base = near_mm
    far_x = near_x - scale * table.width_m
    lift = min(_TABLE_HEIGHT_M * scale, max(6.0, top_mm - 8 - base - scale * stand.height_m - 3))
    desk = base + lift
    phone = (near_x + scale * stand.out_m, desk + scale * stand.height_m)
    soft = LIGHT["soft"]
    write(axes, far_x - 6, top_mm, "From the side", size_pt=8.5, weight="bold")
    aim = ((near_x + far_x) / 2, desk)
    axes.add_patch(
        Polygon(
            [phone, (far_x - 2.5, desk), (near_x + 2.5, desk)],
            facecolor=LIGHT["minus-tint"],
            edgecolor="none",
            zorder=0,
        )
    )
    draw_line(axes, (far_x - 6, base), (phone[0] + 6, base), width_pt=0.6, colour=LIGHT["edge"])
    draw_box(axes, far_x, desk - 1.6, near_x - far_x, 1.6, fill=LIGHT["paper"], edge=LIGHT["edge"], width_pt=0.9)
    for x in (far_x + 3, near_x - 3):
        draw_line(axes, (x, base), (x, desk - 1.6), width_pt=1.0, colour=LIGHT["edge"])
    size = 0.15 * scale
    draw_box(
        axes, aim[0] - size * 0.8, desk + 0.3, 1.6 * size, size * 0.9, fill="white", edge=LIGHT["plus"], width_pt=1.1
    )
    draw_line(axes, phone, aim, width_pt=0.6, colour=LIGHT["minus"], dashes=(5, 3))
    draw_line(axes, (phone[0], base), phone, width_pt=1.0, colour=LIGHT["edge"])
    for way in (-1, 1):
        draw_line(axes, (phone[0], base + 7), (phone[0] + 4.5 * way, base), width_pt=1.0, colour=LIGHT["edge"])
    axes.add_patch(Arc(phone, 26, 26, theta1=180, theta2=180 + stand.angle_deg, color=LIGHT["ink"], linewidth=0.7))
    draw_line(axes, (phone[0] - 17, phone[1]), phone, width_pt=0.4, colour=soft)
    half = np.deg2rad(stand.angle_deg / 2)
    write(axes, phone[0] - 14.5 * float(np.cos(half)), phone[1] - 14.5 * float(np.sin(half)) + 2.2,
          f"{stand.angle_deg:.0f}°", size_pt=8, align="right")  # fmt: skip
    turned = np.deg2rad(90 + stand.angle_deg)
    _draw_phone(axes, phone, turned_deg=float(np.rad2deg(turned)))
    level = phone[0] + 4
    draw_line(axes, (near_x, desk), (level + 1.5, desk), width_pt=0.4, colour=soft, dashes=(3, 3))
    draw_arrow(axes, (level, desk), (level, phone[1]), both=True, width_pt=0.7)
    write(axes, level + 1.2, (desk + phone[1]) / 2 + 1.5, f"{stand.height_m:.1f} m", size_pt=8)
    below = base + lift / 2
    draw_arrow(axes, (near_x, below), (phone[0], below), both=True, width_pt=0.7)
    write(axes, (near_x + phone[0]) / 2, below + 4.2, f"{stand.out_m:.1f} m", size_pt=8, align="center")


def _draw_phone(axes: Axes, at_mm: tuple[float, float], turned_deg: float = 0.0) -> None:
    angle = np.deg2rad(turned_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    half = np.array([(-3.2, -0.8), (3.2, -0.8), (3.2, 0.8), (-3.2, 0.8)])
    corners = half @ turn.T + np.array(at_mm)
    axes.add_patch(Polygon(corners, facecolor=LIGHT["ink"], edgecolor="none", joinstyle="round", zorder=4))
