"""Everything that a run leaves on disk: tables, figures, marked clip and page, as one whole."""

from collections.abc import Callable
from pathlib import Path

from matchvision.footage import read_frames
from matchvision.footage.ahead import read_ahead
from matchvision.records.results import Analysis
from matchvision.report import cut_strips, draw_figures, mark_clip, write_page
from matchvision.sheets.calibration import format_calibration
from matchvision.writing.measured import format_measured
from matchvision.writing.results import write_results


def publish(
    analysis: Analysis,
    folder: Path,
    *,
    tables: str = "csv",
    marked_clip: bool = True,
    progress: Callable[[str, int, int], None] | None = None,
) -> Path:
    """Write tables, figures, marked clip and report into ``folder``, whole or not at all; returns the report's path.

    ``progress`` is told what is being done, how much of it is done, and how much there is in all.
    """

    def tell_marking(done: int, total: int) -> None:
        if progress is not None:
            progress("marking the clip", done, total)

    def add_pictures(unfinished: Path) -> None:
        draw_figures(analysis, unfinished / "figures")
        if marked_clip:
            clock = analysis.run.sheet.clock
            frames = read_ahead(read_frames(analysis.clip, clock.from_s, clock.until_s))
            mark_clip(analysis, frames, unfinished / "marked.mp4", tell_marking)
        strips = cut_strips(analysis, lambda from_s, until_s: read_frames(analysis.clip, from_s, until_s))
        write_page(analysis, unfinished, strips)
        if analysis.practice is not None:
            measured = format_measured(analysis, analysis.practice)
            (unfinished / "measured.toml").write_text(measured, encoding="utf-8")
        if analysis.table.picture is not None and not analysis.cameras.moves:
            kept = format_calibration(analysis.run.sheet.run.name, analysis.clip.sha256, analysis.table)
            (unfinished / "camera.json").write_text(kept, encoding="utf-8")

    write_results(analysis, folder, tables=tables, also=add_pictures)
    return folder / "report.html"
