"""The command that holds runs side by side."""

from pathlib import Path

import pytest

from matchvision.writing import write_results
from tests.cli.conftest import Type
from tests.report.invented import invent_analysis


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


def test_a_missing_run_is_told(type_in: Type) -> None:
    done = type_in("compare", "nowhere", "neither")
    assert done.exit_code == 2
    assert "neither results nor a run sheet" in done.output
