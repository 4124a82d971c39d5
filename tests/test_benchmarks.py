"""The benchmark scripts stay alive: each is registered, described, and starts; small ones run in their own tests."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri

from benchmarks.__main__ import BENCHMARKS, main
from benchmarks.pull import ratio_range
from benchmarks.results import write_rows
from benchmarks.summary import RESULTS, render

README = Path(__file__).parents[1] / "benchmarks" / "README.md"


def test_every_benchmark_is_described() -> None:
    described = {line.split("`")[1] for line in README.read_text().splitlines() if line.startswith("| `")}
    assert described == set(BENCHMARKS)


def test_summary_holds_the_last_results() -> None:
    """Else: python -m benchmarks.summary."""
    assert (RESULTS / "README.md").read_text(encoding="utf-8") == render()


def test_unknown_names_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sharpness"]) == 2
    assert "throughput" in capsys.readouterr().out


def test_rows_carry_commit_and_machine(tmp_path: Path) -> None:
    write_rows("centres", pd.DataFrame({"rms_px": [0.01]}), tmp_path)
    written = pd.read_csv(tmp_path / "centres.csv")
    assert list(written.columns) == ["rms_px", "commit", "machine"]


@pytest.mark.parametrize("count", [25, 400])
def test_ratio_of_error_to_u_is_as_unsure_as_its_runs_are_few(count: int) -> None:
    """Runs whose whole error is one draw from u: the ratio of n of them scatters by about 1/√(2 n) about 1."""
    normal = ndtri((np.arange(count) + 0.5) / count)
    found = ratio_range([(float(error), 1.0) for error in normal**2])
    assert found["ratio_from"] < 1.0 < found["ratio_to"]
    assert found["ratio_to"] - found["ratio_from"] == pytest.approx(3.92 / np.sqrt(2 * count), rel=0.2)
    assert ratio_range([(4.0, 1.0)] * 5) == {"ratio_from": 2.0, "ratio_to": 2.0}
