"""The benchmark scripts stay alive: each is registered, described, and starts; small ones run in their own tests."""

from pathlib import Path

import pandas as pd
import pytest

from benchmarks.__main__ import BENCHMARKS, main
from benchmarks.results import write_rows

README = Path(__file__).parents[1] / "benchmarks" / "README.md"


def test_every_benchmark_is_described() -> None:
    described = {line.split("`")[1] for line in README.read_text().splitlines() if line.startswith("| `")}
    assert described == set(BENCHMARKS)


def test_unknown_names_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sharpness"]) == 2
    assert "throughput" in capsys.readouterr().out


def test_rows_carry_commit_and_machine(tmp_path: Path) -> None:
    write_rows("centres", pd.DataFrame({"rms_px": [0.01]}), tmp_path)
    written = pd.read_csv(tmp_path / "centres.csv")
    assert list(written.columns) == ["rms_px", "commit", "machine"]
