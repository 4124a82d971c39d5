"""The page of runs held side by side: one picture, and under each strip what it says."""

from collections.abc import Sequence
from pathlib import Path

from matchvision.records.repeats import Repeats
from matchvision.report import repeatswords
from matchvision.report.palette import LIGHT
from matchvision.report.repeatspicture import draw_repeats
from matchvision.report.saving import save_page
from matchvision.report.templating import fill_template


def write_repeats(rows: Sequence[Repeats], runs: Sequence[Sequence[str]], lacking: Sequence[str], folder: Path) -> Path:
    """Write ``compare.html`` and its picture ``compare.svg`` into ``folder``; returns the page's path.

    Parameters
    ----------
    rows : what is compared.
    runs : names of the runs of each group.
    lacking : quantities that some runs have and others do not.

    Raises
    ------
    OutputError
        Where the folder cannot be written.

    Notes
    -----
    Checked by: tests/report/test_repeatspage.py::test_every_run_is_a_dot_in_the_picture
    """
    save_page(draw_repeats(rows, LIGHT), folder / "compare.svg", "the picture")
    return save_page(render_repeats(rows, runs, lacking), folder / "compare.html")


def render_repeats(rows: Sequence[Repeats], runs: Sequence[Sequence[str]], lacking: Sequence[str]) -> str:
    """The page as text."""
    machines = list(dict.fromkeys(row.machine for row in rows if row.machine))
    title = f"{' and '.join(machines) or 'Runs'}: runs side by side"
    said = [f"{len(group)} run{'s' if len(group) != 1 else ''} ({', '.join(group)})" for group in runs]
    runs_words = f"{said[0]}." if len(said) == 1 else f"Before the change {said[0]}; after it {said[1]}."
    return fill_template(
        "repeats.html",
        title=title,
        runs_words=runs_words,
        two=len(runs) > 1,
        rows=[(row, draw_repeats([row], headed=False)) for row in rows],
        words=repeatswords,
        lacking=lacking,
    )
