"""Figures as files, each as SVG and PNG, in the style of all."""

import warnings
from collections.abc import Callable, Mapping
from pathlib import Path

import matplotlib as mpl
from matplotlib.figure import Figure

from matchvision.errors import OutputError
from matchvision.report.style import STYLE


def write_figures(drawings: Mapping[str, Callable[[], Figure]], folder: Path) -> tuple[Path, ...]:
    """Draw each figure and write it into ``folder`` under its name; returns the files.

    Raises
    ------
    OutputError
        Where the folder cannot be written.
    """
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with mpl.rc_context(STYLE), warnings.catch_warnings():
            # A name in letters that the font lacks shows as boxes in the PNG; the SVG keeps it as text.
            warnings.filterwarnings("ignore", message="Glyph")
            for name, draw in drawings.items():
                figure = draw()
                for ending in ("svg", "png"):
                    path = folder / f"{name}.{ending}"
                    # Without a date the same analysis gives the same file.
                    figure.savefig(path, metadata={"Date": None} if ending == "svg" else None)
                    written.append(path)
    except OSError as reason:
        raise OutputError(
            f"the figures cannot be written: {reason.strerror}",
            where=str(folder),
            do="choose another folder with --out",
        ) from reason
    return tuple(written)
