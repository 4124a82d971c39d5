"""Figures: both kinds of file, units on every axis, text that stays text, no settings left behind."""

import re
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.figure import Figure
from PIL import Image

from matchvision.report import draw_figures
from matchvision.report.figures import _line_name
from matchvision.report.style import explain_below
from tests.report.invented import invent_analysis, rename

UNITS = {
    "share": ("match time / s", "share of rope / %"),
    "pull": ("match time / s", "pull / N"),
    "speed": ("match time / s", "speed / mm/s"),
    "slip": ("match time / s", "slip speed / mm/s"),
    "pull-place": ("/ m", "pull / N"),
    "grip-place": ("/ m", "grip used"),
    "table-from-above": ("x along the pull / m", "y across / m"),
    "comparison": ("E over its expanded uncertainty", "E = 1.2 ± 2.0 N"),
}


@pytest.fixture(scope="module")
def figures(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("drawn") / "figures"
    settings = dict(mpl.rcParams)
    written = draw_figures(rename(invent_analysis(), "heron", "he$ron_$鷺"), folder)
    assert dict(mpl.rcParams) == settings
    assert {p.suffix for p in written} == {".svg", ".png"}
    return {p.stem: p for p in written if p.suffix == ".svg"}


def text_of(svg: Path) -> str:
    return " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg.read_text(encoding="utf-8")))


def test_every_figure_names_its_units(figures: dict[str, Path]) -> None:
    assert set(figures) == set(UNITS)
    for name, labels in UNITS.items():
        for label in labels:
            assert label in text_of(figures[name]), name


def test_bands_say_their_coverage(figures: dict[str, Path]) -> None:
    for name in ("share", "pull", "speed", "slip", "pull-place", "grip-place"):
        assert "95 % (k = 1.96)" in text_of(figures[name]), name


def test_a_legend_of_long_words_stays_inside() -> None:
    figure = Figure(figsize=(6, 3), layout="constrained")
    axes = figure.subplots()
    for n in range(5):
        axes.plot([0, 1], label=f"momentum while the wheels slide (leans on the forecast) {n}")
    explain_below(figure)
    figure.canvas.draw()
    box = figure.legends[0].get_window_extent()
    assert len(figure.legends) == 1
    assert box.x0 >= 0
    assert box.x1 <= figure.bbox.width


def test_names_are_drawn_as_they_are_written(figures: dict[str, Path]) -> None:
    assert "he$ron_$鷺" in text_of(figures["table-from-above"])


def test_pictures_are_fit_for_print(figures: dict[str, Path]) -> None:
    for svg in figures.values():
        with Image.open(svg.with_suffix(".png")) as picture:
            assert picture.width == 1260  # 6.3 inch at 200 dots an inch
            assert len(picture.convert("L").getcolors(256) or []) > 20


def test_lines_of_phases_bear_their_phase() -> None:
    row = invent_analysis().verdict.comparison[0]
    names = [_line_name(row), _line_name(replace(row, phase="contest"))]
    assert names == [row.quantity, f"Contest: {row.quantity}"]
