"""The instructor's page of marks: each with its arithmetic, and the scores that they rest on."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from matchvision.records.marks import Mark, Marks
from matchvision.records.rubric import PARTS, Rubric
from matchvision.report.saving import save_page
from matchvision.report.templating import fill_template

PART_WORDS: Final = {
    "win_chance": "Stated chance to win",
    "peak_pull": "Stated peak pull",
    "accuracy": "Accuracy of the computed forecast",
    "honesty": "Honesty of the stated uncertainties",
    "verdict": "Winner named",
    "cause": "Failure named beforehand",
}


def write_marks_page(marks: Sequence[Marks], rubric: Rubric, folder: Path) -> Path:
    """Write ``marks.html`` into ``folder``; returns its path.

    Raises
    ------
    OutputError
        Where the folder cannot be written.

    Notes
    -----
    Checked by: tests/report/test_markspage.py::test_every_mark_stands_with_its_arithmetic
    """
    return save_page(render_marks(marks, rubric), folder / "marks.html")


def render_marks(marks: Sequence[Marks], rubric: Rubric) -> str:
    """The page as text."""
    return fill_template(
        "markspage.html",
        runs=marks,
        weights=[(PART_WORDS[part], getattr(rubric.weights, part)) for part in PARTS],
        rubric=rubric,
        part_words=PART_WORDS,
        points=show_points,
        share=lambda mark: 0.0 if not math.isfinite(mark.points) or mark.of == 0 else 100 * mark.points / mark.of,
        number=show_number,
        total=show_total,
    )


def show_points(mark: Mark) -> str:
    """Points of how many; a dash where nothing could be judged."""
    return f"{mark.points:.1f} of {mark.of:g}" if math.isfinite(mark.points) else "not judged"


def show_total(total: float) -> str:
    """A total in per cent."""
    return f"{total:.0f} %" if math.isfinite(total) else "nothing could be judged"


def show_number(value: float) -> str:
    """A score, three digits."""
    return f"{value:.3g}".replace("-", "−") if math.isfinite(value) else "–"
