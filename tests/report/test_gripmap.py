"""The map of grip as figure and on the page."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np

from matchvision.records.events import Grip
from matchvision.records.gripmap import GripCell, GripMap, GripTale
from matchvision.records.results import Analysis
from matchvision.report import draw_figures
from matchvision.report.gripmap import grip_pictures, kept_cells
from matchvision.report.page import render_page
from tests.report.invented import invent_analysis

TALE = GripTale("place", "both", 0.97, 0.78, 0.01, 0.4, 0.02, -0.61, 0.004, -0.52, 0.003)


def map_of(machine: str) -> GripMap:
    cells = [
        GripCell(
            machine, "left", x, x + 0.05, t, t + 0.5, "available" if x > -0.6 else "at least", 0.4 + t / 20, 0.02, 0.4
        )
        for x, t in zip(np.arange(-0.7, -0.45, 0.05), np.arange(0.0, 2.5, 0.5), strict=True)
    ]
    again = replace(cells[-1], grip_kind="at least", grip_ratio=0.2)
    said = f"Where the wheels of {machine} slid: less grip at one place (97 %)."
    return GripMap(machine, ("left",), (*cells, again), (TALE,), said)


def analysis_with_map() -> Analysis:
    plain = invent_analysis()
    assert plain.grip is not None
    grip = Grip(plain.grip.events, plain.grip.grip_state, (map_of("heron"),))
    return replace(plain, grip=grip)


def test_figure_names_units_and_every_cell_has_its_number(tmp_path: Path) -> None:
    draw_figures(analysis_with_map(), tmp_path)
    text = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", (tmp_path / "grip-map-heron.svg").read_text("utf-8")))
    assert "match time / s" in text
    assert "x along the pull" in text
    assert "≥0.40" in text
    assert "0.50" in text


def test_page_shows_map_and_statement() -> None:
    page = render_page(analysis_with_map(), has_clip=False)
    assert "Grip of heron, left side" in page
    assert "less grip at one place (97" in page
    assert page.count('class="gripcell') == 5
    assert "Grip over the place" not in render_page(invent_analysis(), has_clip=False)


def test_a_slide_hides_that_it_gripped_in_the_same_cell() -> None:
    kept = kept_cells(map_of("heron"), "left")
    assert len(kept) == 5
    assert kept[-1].grip_kind == "available"
    (picture,) = grip_pictures(analysis_with_map())
    assert all(0 <= c.left <= 100 and 0 <= c.top <= 100 for c in picture.cells)
