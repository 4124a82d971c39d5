"""Filling a page's template."""

from typing import Any

from matchvision.report.slots import page_environment


def fill_template(name: str, **content: Any) -> str:  # noqa: ANN401 - whatever the page shows
    """A template of this package filled in; what is missing in ``content`` is an error, what it holds is escaped."""
    return page_environment().get_template(name).render(**content)
