"""The page that lists every table's columns, made from the column lists."""

from typing import Final

from matchvision.records.columns import TABLES, UNIT_SUFFIXES, Column

_ABOUT: Final = {
    "tracks": "Where each marker is in each picture, and on the table.",
    "motion": "How each machine moves. Position of the machine frame's origin.",
    "wheels": "How each wheel with rim marks turns, and how it slips.",
    "rope": "The rope on each side of the centre line.",
    "pull": "Rope tension, from each source by itself and from all together.",
    "traction": "What each machine brings to the table.",
    "grip_map": "Grip used and available over the place on the table and over time, each watched side apart.",
    "events": "What happened, dated on the match clock.",
    "comparison": "Predicted beside measured.",
    "curves": "Predicted curves beside measured ones: later or sooner, larger or smaller, of another shape.",
    "causes": "Explanations of the difference, with their probabilities.",
}
_KINDS: Final = {"int": "whole number", "float": "number", "word": "word"}


def describe_tables() -> str:
    """A page in Markdown: every table, every column, its unit, its meaning, and whether it may be empty.

    Notes
    -----
    Checked by: tests/writing/test_describing.py::test_page_in_docs_is_the_code
    """
    parts = [
        "# Tables",
        "",
        "Made from the program's column lists by `matchvision schema tables`; do not edit by hand.",
        "",
        "A name ends in its unit; `u_` before a name is its standard uncertainty (k = 1). One row a picture and thing.",
        f"Units that a name may end in: {', '.join(f'`{suffix}`' for suffix in UNIT_SUFFIXES)}.",
        "In the tables of comparison, curves and causes the unit stands in a column of its own.",
    ]
    for name, columns in TABLES.items():
        parts += ["", f"## {name}", "", _ABOUT[name], "", "| column | unit | kind | meaning | may be empty |"]
        parts += ["|---|---|---|---|---|", *(_row(column) for column in columns)]
    return "\n".join(parts) + "\n"


def _row(column: Column) -> str:
    unit = {"": "", "1": "", "unit": "as in `unit`"}.get(column.unit, column.unit)
    empty = "yes" if column.may_be_missing else "no"
    return f"| `{column.name}` | {unit} | {_KINDS[column.dtype]} | {column.meaning} | {empty} |"
