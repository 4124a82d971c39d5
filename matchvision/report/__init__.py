"""Stage report: figures, the marked clip and the page."""

from matchvision.report.figures import draw_figures
from matchvision.report.marking import mark_clip
from matchvision.report.page import write_page
from matchvision.report.strips import cut_strips

__all__ = ["cut_strips", "draw_figures", "mark_clip", "write_page"]
