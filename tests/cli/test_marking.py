"""Marks from the command line."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from matchvision.cli import main
from matchvision.records.results import Analysis
from matchvision.sheets.rubric import read_rubric
from matchvision.writing import write_results
from matchvision.writing.documents import describe_document
from tests.report.invented import invent_analysis
from tests.writing.held import find_strays


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    analysis: Analysis = invent_analysis()
    folder = tmp_path_factory.mktemp("marked") / "results"
    write_results(analysis, folder)
    return folder


def test_results_are_marked_by_a_new_rubric(results: Path, tmp_path: Path) -> None:
    rubric = tmp_path / "rubric.toml"
    call = ["mark", str(results), "--new-rubric", str(rubric), "--rubric", str(rubric), "--out", str(tmp_path / "out")]
    told = CliRunner().invoke(main, call)
    assert told.exit_code == 0, told.output
    assert "heron" in told.output
    assert " %" in told.output
    assert read_rubric(rubric)
    assert (tmp_path / "out" / "marks.csv").is_file()
    assert (tmp_path / "out" / "marks.html").is_file()


def test_marks_as_json(results: Path, tmp_path: Path) -> None:
    call = ["mark", str(results), "--new-rubric", str(tmp_path / "rubric.toml"), "--out", str(tmp_path), "--json"]
    result = CliRunner().invoke(main, call)
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert find_strays(told, describe_document("mark")) == []
    (run,) = told["runs"]
    table = (tmp_path / "marks.csv").read_text(encoding="utf-8").splitlines()
    assert len(run["marks"]) == len(table) - 1
    for name, total in run["total_ratio"].items():
        own = [mark for mark in run["marks"] if mark["machine"] == name and mark["points"] is not None]
        assert total == pytest.approx(sum(m["points"] for m in own) / sum(m["of"] for m in own), abs=1e-5)
    refused = CliRunner().invoke(main, ["mark", "--new-rubric", str(tmp_path / "other.toml"), "--json"])
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert not (tmp_path / "other.toml").exists()


def test_folder_without_results_is_refused(tmp_path: Path) -> None:
    told = CliRunner().invoke(main, ["mark", str(tmp_path)])
    assert told.exit_code == 2
    assert "there are no results here" in told.output


def test_nothing_to_mark_is_said() -> None:
    told = CliRunner().invoke(main, ["mark"])
    assert told.exit_code == 2
    assert "--new-rubric" in told.output


def test_schema_of_the_rubric_is_printed() -> None:
    told = CliRunner().invoke(main, ["schema", "rubric"])
    assert told.exit_code == 0
    assert '"none_ratio"' in told.output
