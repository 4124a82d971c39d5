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


def row_of(page: str, key: str) -> str:
    """The first row of a key."""
    return next(line for line in page.splitlines() if line.startswith(f"| `{key}` |"))


def test_page_says_what_keys_take() -> None:
    page = describe_keys()
    assert " | number above 0 and below 1 | `0.5` |" in row_of(page, "share_to_win")
    assert " | quantity | — |" in row_of(page, "gear_ratio")
    assert " | [number, number] or [number, number, number] | **must be given** |" in row_of(page, "at_m")
    assert "## `[[machine.NAME.wheel.rim]]`" in page


def test_every_key_says_what_it_is() -> None:
    rows = [line.split(" | ") for line in describe_keys().splitlines() if line.startswith("| `")]
    assert len(rows) > 100
    assert not [key for key, meaning, *_ in rows if len(meaning) < 5]
