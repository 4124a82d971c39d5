"""Stage report: figures, the marked clip and the page."""

from matchvision.report.figures import draw_figures
from matchvision.report.marking import mark_clip
from matchvision.report.page import write_page

__all__ = ["draw_figures", "mark_clip", "write_page"]
