"""The ruling sheet as a page: one side of A4 with room to sign."""

from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from matchvision.records.results import Analysis
from matchvision.report.readings import side_name
from matchvision.report.ruling import margin_drawing, rule_facts
from matchvision.report.saving import save_page
from matchvision.report.slots import page_environment
from matchvision.report.stills import Still
from matchvision.report.tabledrawing import draw_table, home_words
from matchvision.report.wording import verdict_words


def write_ruling(analysis: Analysis, folder: Path, stills: Sequence[Still] = ()) -> Path:
    """Write ``folder/ruling.html`` and return its path.

    ``stills`` are camera pictures of the start and of the moment at which the clock stopped.

    Raises
    ------
    OutputError
        Where it cannot be written.

    Notes
    -----
    Checked by: tests/report/test_ruling.py::test_sheet_says_what_a_judge_asks
    """
    return save_page(render_ruling(analysis, stills), folder / "ruling.html", "the ruling sheet")


def render_ruling(analysis: Analysis, stills: Sequence[Still] = ()) -> str:
    """The ruling sheet as text."""
    context: dict[str, Any] = {
        "run": analysis.run.sheet.run,
        "version": version("matchvision"),
        "table": draw_table(analysis),
        "margin": margin_drawing(analysis),
        "said": verdict_words(analysis)[0],
        "homes": {"minus": home_words(analysis, "-x"), "plus": home_words(analysis, "+x")},
        "sides": [side_name(analysis, "-x"), side_name(analysis, "+x")],
        "stills": stills,
        "facts": rule_facts(analysis),
    }
    return page_environment().get_template("ruling.html").render(context)
