"""The example in the docs does what it says."""

import runpy
import sys
from pathlib import Path

import pytest

from matchvision.writing import write_results
from tests.report.invented import invent_analysis

EXAMPLE = Path(__file__).parents[2] / "docs" / "examples" / "read_results.py"


def test_example_reads_results_of_a_match(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    analysis = invent_analysis("flat-match")
    write_results(analysis, tmp_path / "out")
    monkeypatch.setattr(sys, "argv", [str(EXAMPLE), str(tmp_path / "out")])
    runpy.run_path(str(EXAMPLE), run_name="__main__")
    said = capsys.readouterr().out
    ruling = analysis.verdict.ruling
    assert ruling is not None
    assert ruling.sentence in said
    assert f"margin {1000 * ruling.margin_m:.1f} mm, 95 % interval ± {1960 * ruling.u_margin_m:.1f} mm" in said
    assert "greatest pull by fused: " in said
    heron = analysis.motion.machines["heron"]
    t_s = analysis.clock.match_time(analysis.motion.clip_s)
    during = (t_s >= 0) & (t_s <= 8.0)
    assert f"heron went {1000 * (heron.x_m[during][-1] - heron.x_m[during][0]):+.0f} mm along x" in said
    assert "heron: slip (" in said
