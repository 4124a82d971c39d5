"""Everything that a run leaves on disk, in steps: the first answer, then causes, then figures and marked clip."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

from matchvision.errors import FootageError
from matchvision.footage import read_facts, read_frames
from matchvision.footage.ahead import read_ahead
from matchvision.records.frames import Frame
from matchvision.records.results import Analysis, CauseRow, Grounds, StageNote
from matchvision.records.sheet import Run
from matchvision.report import (
    cut_cause,
    cut_stills,
    cut_strips,
    draw_explained_figure,
    draw_figures,
    mark_clip,
    write_page,
    write_ruling,
)
from matchvision.report.stills import Still
from matchvision.sheets.calibration import format_calibration
from matchvision.writing.adding import add_causes, adding_to, hold_marked_clip
from matchvision.writing.keeping import keep_grounds
from matchvision.writing.measured import format_measured
from matchvision.writing.results import read_brief, write_results

#: Told what is being done, how much of it is done, and how much there is in all.
Progress = Callable[[str, int, int], None]


def publish_first(analysis: Analysis, folder: Path, *, tables: str = "csv", marked_clip: bool = True) -> Path:
    """Write tables and report, whole or not at all; figures and marked clip are left to `add_pictures`.

    Where causes are due, what they are sought from is kept beside, so that they can be added to these results at any
    time: `matchvision.writing.keeping.recall_grounds`, then `matchvision.pipeline.find_causes`, then
    `matchvision.writing.adding.add_causes`.

    Notes
    -----
    Checked by: tests/writing/test_adding.py::test_causes_are_added_to_a_first_answer
    """

    def add_page(unfinished: Path) -> None:
        _add_page(analysis, unfinished, with_clip=marked_clip)
        if analysis.verdict.causes_due:
            keep_grounds(analysis.run, analysis.grounds, unfinished)

    write_results(analysis, folder, tables=tables, also=add_page)
    return folder / "report.html"


def add_pictures(
    analysis: Analysis,
    folder: Path,
    *,
    marked_clip: bool = True,
    embed_clip: bool = False,
    progress: Progress | None = None,
) -> None:
    """Add figures and marked clip to results that stand in ``folder``; each appears whole.

    ``embed_clip`` also puts the marked clip into the report, which then is one file to hand on.
    """
    with adding_to(folder) as unfinished:
        draw_figures(analysis, unfinished / "figures")
        if marked_clip:
            _mark(analysis, unfinished, progress)
            if embed_clip:
                hold_marked_clip(folder, unfinished)


def publish_causes(run: Run, grounds: Grounds, folder: Path, causes: tuple[CauseRow, ...], note: StageNote) -> None:
    """Add causes to the results in ``folder``, with a figure of what the likeliest makes of the run, and its pictures.

    Where the clip is gone or is another by now, there are no pictures. The causes come last: until they stand in
    ``result.json`` they count as due, and everything can be done again.
    """
    if any(cause.curves for cause in causes):
        with adding_to(folder) as unfinished:
            draw_explained_figure(causes, unfinished / "figures")
    stills: list[Still] = []
    with suppress(FootageError):
        facts = read_facts(run.clip)
        if facts.sha256 == read_brief(folder).clip.sha256:
            stills = cut_cause(grounds, facts, causes, lambda *part: read_frames(facts, *part))
    add_causes(folder, causes, note, stills)


def _mark(analysis: Analysis, folder: Path, progress: Progress | None) -> None:
    def tell(done: int, total: int) -> None:
        if progress is not None:
            progress("marking the clip", done, total)

    clock = analysis.run.sheet.clock
    frames = read_ahead(read_frames(analysis.clip, clock.from_s, clock.until_s))
    mark_clip(analysis, frames, folder / "marked.mp4", tell)


def _add_page(analysis: Analysis, folder: Path, *, with_clip: bool) -> None:
    """Report and ruling sheet, and what else is small: a practice run's numbers and the camera that was found."""

    def read(from_s: float, until_s: float) -> Iterator[Frame]:
        return read_frames(analysis.clip, from_s, until_s)

    write_page(analysis, folder, cut_strips(analysis, read), with_clip=with_clip)
    if analysis.run.sheet.run.kind == "match":
        write_ruling(analysis, folder, cut_stills(analysis, read))
    if analysis.practice is not None:
        measured = format_measured(analysis, analysis.practice)
        (folder / "measured.toml").write_text(measured, encoding="utf-8")
    if analysis.table.picture is not None and not analysis.cameras.moves:
        kept = format_calibration(analysis.run.sheet.run.name, analysis.clip.sha256, analysis.table)
        (folder / "camera.json").write_text(kept, encoding="utf-8")
