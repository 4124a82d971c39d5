"""The page about the keys of a run sheet is the code."""

from pathlib import Path
from typing import Any

from matchvision.sheets import describe_keys, describe_run_sheet

PAGE = Path(__file__).parents[2] / "docs" / "run-sheet.md"


def test_page_in_docs_is_the_code() -> None:
    """Run `python -m matchvision schema keys > docs/run-sheet.md` after a change to the sheet types."""
    assert PAGE.read_text(encoding="utf-8") == describe_keys()


def test_page_names_every_key() -> None:
    """Against the JSON Schema, which pydantic makes by itself: each plain key has a row, each block a heading."""
    page = describe_keys()
    kinds: dict[str, dict[str, Any]] = describe_run_sheet()["$defs"]
    for kind, schema in kinds.items():
        if kind == "Quantity":
            continue
        for key in schema["properties"]:
            assert f"| `{key}` |" in page or f".{key}]" in page, f"{kind}.{key}"


def test_page_says_what_keys_take() -> None:
    page = describe_keys()
    assert "| `share_to_win` | number above 0 and below 1 | `0.5` |" in page
    assert "| `gear_ratio` | quantity | — |" in page
    assert "| `at_m` | [number, number] or [number, number, number] | **must be given** |" in page
    assert "## `[[machine.NAME.wheel.rim]]`" in page
