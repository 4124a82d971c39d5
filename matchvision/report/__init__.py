"""Stage report: figures, the marked clip and the page."""

from matchvision.report.page import write_page

__all__ = ["write_page"]
