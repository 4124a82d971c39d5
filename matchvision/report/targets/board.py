"""The chessboard for the lens: ten by seven squares, which makes nine by six inner corners."""

from typing import Final

from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from matchvision.report.targets.paper import (
    MARGIN_MM,
    PAPERS,
    SLIM_MARGIN_MM,
    Page,
    Paper,
    open_slim_page,
    refuse_too_large,
)

#: Inner corners along a row, and rows; what `matchvision lens` looks for unless told otherwise.
INNER_CORNERS: Final = (9, 6)
#: White that the board keeps around it at least, and where the room above the ruler begins [mm].
_RIM_MM: Final = 3.0
_FLOOR_MM: Final = SLIM_MARGIN_MM + 8.6


def usual_square_mm(paper: Paper) -> float:
    """The side of a square that fits the paper: 30 mm on A3, else 25 mm."""
    return 30.0 if paper.name == PAPERS["a3"].name else 25.0


def draw_board_page(paper: Paper, square_mm: float) -> Page:
    """The board, on a page that lies on its long side.

    Raises
    ------
    OutputError
        Where the squares are too large for the paper.

    Notes
    -----
    Checked by: tests/report/test_targets.py::test_chessboard_squares_have_their_true_size
    """
    columns, rows = INNER_CORNERS[0] + 1, INNER_CORNERS[1] + 1
    lying = paper.turned()
    says = (
        "Glue it on something stiff and flat. Take ten stills, tilted 20° to 45° each way, some near the picture's "
        "corners; "
        f"then: matchvision lens STILLS --square-mm {square_mm:g}"
    )
    page = open_slim_page("board", lying, f"Chessboard, 9 × 6 inner corners, squares of {square_mm:g} mm", says)
    wide, tall = columns * square_mm, rows * square_mm
    room = (lying.width_mm - 2 * MARGIN_MM, page.top_mm - _FLOOR_MM)
    needed = (wide + 2 * _RIM_MM, tall + 2 * _RIM_MM)
    refuse_too_large(f"a chessboard with squares of {square_mm:g} mm", needed, room, lying)
    left, base = (lying.width_mm - wide) / 2, _FLOOR_MM + (room[1] - tall) / 2
    corners, codes = [], []
    for row in range(rows):
        for col in range(columns):
            if (row + col) % 2 == 0:
                x, y = left + col * square_mm, base + row * square_mm
                corners += [(x, y), (x + square_mm, y), (x + square_mm, y + square_mm), (x, y + square_mm), (x, y)]
                codes += [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY]
    page.axes.add_patch(PathPatch(Outline(corners, codes), facecolor="black", edgecolor="none", linewidth=0))
    return page
