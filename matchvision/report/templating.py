"""Filling a page's template."""

from typing import Any

import jinja2


def fill_template(name: str, **content: Any) -> str:  # noqa: ANN401 - whatever the page shows
    """A template of this package filled in; what is missing in ``content`` is an error, what it holds is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("matchvision.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(**content)
