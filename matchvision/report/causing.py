"""The parts of the page that follow the first answer: causes, and marks that rest on them."""

import math
from collections.abc import Sequence
from typing import Any, Final, Protocol

from matchvision.records.causes import SHOWN_BY
from matchvision.records.marks import Marks
from matchvision.records.results import CauseRow, StageNote
from matchvision.report import wording
from matchvision.report.explainedpicture import draw_explained, explained_words, tell_explained
from matchvision.report.markspage import PART_WORDS
from matchvision.report.slots import mark_slot, page_environment
from matchvision.report.stills import Still


class Dated(Protocol):
    """What an event, and a row of events in ``result.json``, have in common."""

    @property
    def kind(self) -> str:
        """What happened."""

    @property
    def machine(self) -> str:
        """To whom."""

    @property
    def start_s(self) -> float:
        """When, on the match clock [s]."""


#: Parts of the page that causes fill, each between two comments of its name.
SLOTS: Final = ("cause-sentence", "cause-list", "cause-method")


def draw_causes(
    causes: Sequence[CauseRow],
    note: StageNote | None,
    *,
    kind: str,
    forecast: bool,
    compared: bool,
    due: bool,
    events: Sequence[Dated] = (),
    stills: Sequence[Still] = (),
) -> dict[str, str]:
    """Each part of the page that tells causes, by its name.

    Parameters
    ----------
    causes, note : what was found, and how; none of it while causes are due.
    kind : of the run.
    forecast, compared : whether there is a predicted run, and anything measured to set against it.
    due : causes are still being sought.
    events : what happened; of it each cause shows what it would have brought about.
    stills : pictures of the moment since which the likeliest cause was at work.
    """
    context: dict[str, Any] = {
        "cause": wording.cause_words(causes, kind=kind, forecast=forecast, compared=compared, due=due),
        "causes": [
            (cause, find_shown(cause, events)) for cause in sorted(causes, key=lambda cause: -cause.probability)
        ],
        "stills": stills,
        "pictures": [],
        "told": "",
        "logged": False,
        "note": note,
        "words": wording,
        "explained_words": explained_words,
        "isfinite": math.isfinite,
    }
    likeliest = max(causes, key=lambda cause: cause.probability, default=None)
    if likeliest is not None and likeliest.curves:
        context["pictures"] = draw_explained(likeliest.curves, likeliest.since_s)
        context["told"] = tell_explained(likeliest.curves, likeliest.cause)
        context["logged"] = any(curve.logged is not None for curve in likeliest.curves)
        context["explained"] = any(curve.explained is not None for curve in likeliest.curves)
    template = page_environment().get_template("causes.html")
    return {
        name: mark_slot(name, "".join(template.blocks[name.replace("-", "_")](template.new_context(context))))
        for name in SLOTS
    }


def find_shown(cause: CauseRow, events: Sequence[Dated]) -> list[Dated]:
    """Events of the kinds that a cause brings about, of its machine or of none."""
    kinds = [kind for name in cause.cause.split("+") for kind in SHOWN_BY.get(name, ())]
    return [e for e in events if e.kind in kinds and (not e.machine or not cause.machine or e.machine == cause.machine)]


def draw_marks(marks: Marks | None) -> dict[str, str]:
    """The part of the instructor's fold that tells marks and scores; empty without any."""
    template = page_environment().get_template("marks.html")
    text = template.render(marks=marks, words=wording, parts=PART_WORDS) if marks is not None and marks.marks else ""
    return {"marks": mark_slot("marks", text)}
