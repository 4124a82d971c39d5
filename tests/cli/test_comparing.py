"""The command that holds runs side by side."""

import json
from pathlib import Path

import pytest

from matchvision.writing import write_results
from matchvision.writing.documents import describe_document
from tests.cli.conftest import Type
from tests.report.invented import invent_analysis
from tests.writing.held import find_strays


@pytest.fixture
def results(in_folder: Path) -> Path:
    for seed in (1, 2):
        write_results(invent_analysis("hitch-slips", seed), in_folder / f"r{seed}")
    return in_folder


def test_page_picture_and_table_are_written(type_in: Type, results: Path) -> None:
    done = type_in("compare", "r1", "r2")
    assert done.exit_code == 0, done.output
    assert "lead at the end" in done.output
    assert {p.name for p in (results / "outputs/compare").iterdir()} == {"compare.html", "compare.svg", "compare.csv"}
    told = json.loads(type_in("compare", "r1", "-a", "r2", "--json").stdout)
    assert find_strays(told, describe_document("compare")) == []
    assert [len(group) for group in told["runs"]] == [1, 1]
    table = (results / "outputs/compare/compare.csv").read_text().splitlines()
    assert [f"{row['machine']},{row['quantity']}," in line for row, line in zip(told["rows"], table[1:], strict=True)]


def test_a_missing_run_is_told(type_in: Type) -> None:
    done = type_in("compare", "nowhere", "neither")
    assert done.exit_code == 2
    assert "neither results nor a run sheet" in done.output
    assert type_in("compare", "nowhere", "neither", "--json").stdout == ""
