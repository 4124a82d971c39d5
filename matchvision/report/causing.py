"""The parts of the page that follow the first answer: causes, and marks that rest on them."""

import math
from collections.abc import Sequence
from typing import Any, Final

from matchvision.records.marks import Marks
from matchvision.records.results import CauseRow, StageNote
from matchvision.report import wording
from matchvision.report.markspage import PART_WORDS
from matchvision.report.slots import mark_slot, page_environment

#: Parts of the page that causes fill, each between two comments of its name.
SLOTS: Final = ("cause-sentence", "cause-list", "cause-method")


def draw_causes(
    causes: Sequence[CauseRow], note: StageNote | None, *, kind: str, forecast: bool, compared: bool, due: bool
) -> dict[str, str]:
    """Each part of the page that tells causes, by its name.

    Parameters
    ----------
    causes, note : what was found, and how; none of it while causes are due.
    kind : of the run.
    forecast, compared : whether there is a predicted run, and anything measured to set against it.
    due : causes are still being sought.
    """
    context: dict[str, Any] = {
        "cause": wording.cause_words(causes, kind=kind, forecast=forecast, compared=compared, due=due),
        "causes": sorted(causes, key=lambda cause: -cause.probability),
        "note": note,
        "words": wording,
        "isfinite": math.isfinite,
    }
    template = page_environment().get_template("causes.html")
    return {
        name: mark_slot(name, "".join(template.blocks[name.replace("-", "_")](template.new_context(context))))
        for name in SLOTS
    }


def draw_marks(marks: Marks | None) -> dict[str, str]:
    """The part of the instructor's fold that tells marks and scores; empty without any."""
    template = page_environment().get_template("marks.html")
    text = template.render(marks=marks, words=wording, parts=PART_WORDS) if marks is not None and marks.marks else ""
    return {"marks": mark_slot("marks", text)}
