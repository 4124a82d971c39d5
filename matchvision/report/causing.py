"""The parts of the page that tell causes: drawn with the page, or filled in later where causes took longer."""

import math
import re
from collections.abc import Sequence
from typing import Any, Final

import jinja2

from matchvision.records.results import CauseRow, StageNote
from matchvision.report import wording

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
    environment = page_environment()
    context: dict[str, Any] = {
        "cause": wording.cause_words(causes, kind=kind, forecast=forecast, compared=compared, due=due),
        "causes": sorted(causes, key=lambda cause: -cause.probability),
        "note": note,
        "words": wording,
        "isfinite": math.isfinite,
    }
    template = environment.get_template("causes.html")
    return {
        name: f"<!--{name}-->" + "".join(template.blocks[name.replace("-", "_")](template.new_context(context)))
        + f"<!--/{name}-->"
        for name in SLOTS
    }  # fmt: skip


def fill_causes(page: str, drawn: dict[str, str]) -> str:
    """The page with the parts that tell causes replaced; all else stays as it is."""
    for name, text in drawn.items():
        between = re.compile(rf"<!--{name}-->.*?<!--/{name}-->", re.DOTALL)
        page = between.sub(lambda _, text=text: text, page, count=1)  # type: ignore[misc]
    return page


def page_environment() -> jinja2.Environment:
    """How every page is put together: what people wrote is escaped, and nothing may be missing."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("matchvision.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
