"""Parts of the page that are filled in after it was written, each between two comments of its name."""

import re
from collections.abc import Mapping
from typing import Final

import jinja2

from matchvision.report.palette import DARK, LIGHT, css_variables

#: Spaces about a ±, and between a number and its unit.
_BREAKS: Final = re.compile(r"(?<=\d) (?=±)|(?<=±) (?=\d)|(?<=\d) (?=(?:%|°|mm|m|px|N|s|kg|mm/s|m/s)(?![\w/]))")


def page_environment() -> jinja2.Environment:
    """How every page is put together: what people wrote is escaped, nothing may be missing, colours are the same."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("matchvision.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["tie"] = tie_numbers
    environment.globals |= {"light": css_variables(LIGHT), "dark": css_variables(DARK)}
    return environment


def tie_numbers(text: str) -> str:
    """A text in which no line ends between a number and its ± or its unit: ``183.7 ± 1.5 mm`` stays together."""
    return _BREAKS.sub("\u00a0", text)


def mark_slot(name: str, text: str) -> str:
    """The text of a slot between its comments. Words that people wrote are escaped and so can hold no comment."""
    return f"<!--{name}-->{text}<!--/{name}-->"


def fill_slots(page: str, drawn: Mapping[str, str]) -> str:
    """The page with slots replaced by what `mark_slot` gave; all else stays as it is."""
    for name, text in drawn.items():
        first, begin, rest = page.partition(f"<!--{name}-->")
        _, end, last = rest.partition(f"<!--/{name}-->")
        if begin and end:
            page = f"{first}{text}{last}"
    return page
