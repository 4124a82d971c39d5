"""Figures as files, each as SVG and PNG, in the style of all."""

import warnings
from collections.abc import Callable, Mapping
from pathlib import Path

import matplotlib as mpl
from matplotlib.figure import Figure

from matchvision.report.saving import save_figure, told_if_unwritable
from matchvision.report.style import STYLE


def write_figures(drawings: Mapping[str, Callable[[], Figure]], folder: Path) -> tuple[Path, ...]:
    """Draw each figure and write it into ``folder`` under its name; returns the files.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    written: list[Path] = []
    with told_if_unwritable("the figures", folder):
        folder.mkdir(parents=True, exist_ok=True)
        with mpl.rc_context(STYLE), warnings.catch_warnings():
            # A name in letters that the font lacks shows as boxes in the PNG; the SVG keeps it as text.
            warnings.filterwarnings("ignore", message="Glyph")
            for name, draw in drawings.items():
                figure = draw()
                written += [save_figure(figure, folder / f"{name}.{ending}") for ending in ("svg", "png")]
    return tuple(written)
