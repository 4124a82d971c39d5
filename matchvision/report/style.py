"""One drawing style for all figures, as matplotlib settings; they are applied in a context and leak nowhere."""

from collections.abc import Sequence
from typing import Any, Final

from matplotlib.artist import Artist
from matplotlib.figure import Figure

from matchvision.report.palette import LIGHT

#: Width of a figure that fills a page between its margins [inch], and the resolution of the pictures.
FULL_WIDTH_IN: Final = 6.3
DOTS_PER_INCH: Final = 200

STYLE: Final[dict[Any, Any]] = {
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "savefig.dpi": DOTS_PER_INCH,
    "svg.fonttype": "none",
    "svg.hashsalt": "matchvision",
    "font.family": ["DejaVu Sans"],
    "font.size": 8.0,
    # Names come from people: a dollar sign in one is no mathematics.
    "text.parse_math": False,
    "text.color": LIGHT["ink"],
    "axes.facecolor": "white",
    "axes.edgecolor": LIGHT["ink"],
    "axes.labelcolor": LIGHT["ink"],
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 9.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 8.0,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": LIGHT["rule"],
    "grid.linewidth": 0.5,
    "xtick.color": LIGHT["ink"],
    "ytick.color": LIGHT["ink"],
    "xtick.direction": "out",
    "ytick.direction": "out",
    "lines.linewidth": 1.3,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "path.simplify": True,
}


def explain_below(figure: Figure, signs: Sequence[Artist] | None = None) -> None:
    """The legend below the figure, of ``signs`` or all that is drawn, in as many columns as the width has room for."""
    chosen: dict[str, Any] = {} if signs is None else {"handles": signs}
    for columns in (4, 3, 2, 1):
        legend = figure.legend(loc="outside lower center", ncols=columns, **chosen)
        if columns == 1 or legend.get_window_extent().width <= figure.bbox.width:
            return
        legend.remove()
