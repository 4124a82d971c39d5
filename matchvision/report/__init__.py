"""Stage report: figures, the marked clip and the page."""

from matchvision.report.figures import draw_figures
from matchvision.report.page import write_page

__all__ = ["draw_figures", "write_page"]
