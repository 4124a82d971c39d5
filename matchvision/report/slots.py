"""Parts of the page that are filled in after it was written, each between two comments of its name."""

from collections.abc import Mapping

import jinja2


def page_environment() -> jinja2.Environment:
    """How every page is put together: what people wrote is escaped, and nothing may be missing."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("matchvision.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


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
