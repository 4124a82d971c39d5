"""The docs' pictures can all be taken anew with one command."""

import re
from pathlib import Path

import pytest

pytest.importorskip("selenium")

from scripts.pictures import PICTURES, TAKEN

ROOT = Path(__file__).parent.parent


def test_each_picture_of_the_docs_is_taken_by_the_command_and_no_other() -> None:
    pages = [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]
    shown = {name for page in pages for name in re.findall(r"\(\S*pictures/(\S+?)\)", page.read_text(encoding="utf-8"))}
    assert shown == set(TAKEN) == {path.name for path in PICTURES.iterdir()}
