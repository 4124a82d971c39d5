"""Stage report: figures, the marked clip, the page and the ruling sheet."""

from collections.abc import Sequence
from pathlib import Path

from matchvision.records.results import Analysis, CauseRow
from matchvision.report.marking import mark_clip
from matchvision.report.page import write_page
from matchvision.report.rulingpage import write_ruling
from matchvision.report.stills import cut_cause, cut_stills
from matchvision.report.strips import cut_strips

__all__ = [
    "cut_cause",
    "cut_stills",
    "cut_strips",
    "draw_explained_figure",
    "draw_figures",
    "mark_clip",
    "write_page",
    "write_ruling",
]


def draw_figures(analysis: Analysis, folder: Path) -> tuple[Path, ...]:
    """As `matchvision.report.figures.draw_figures`, which is loaded when figures are wanted: it takes long."""
    from matchvision.report import figures

    return figures.draw_figures(analysis, folder)


def draw_explained_figure(causes: Sequence[CauseRow], folder: Path) -> tuple[Path, ...]:
    """As `matchvision.report.explainedfigure.draw_explained_figure`, loaded when causes are known."""
    from matchvision.report import explainedfigure

    return explainedfigure.draw_explained_figure(causes, folder)
