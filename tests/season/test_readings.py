"""Results told in single numbers, and held side by side."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import OutputError
from matchvision.season.readings import read_readings
from matchvision.season.sidebyside import compare_runs, find_results, format_repeats
from matchvision.writing import write_results
from tests.report.invented import invent_analysis
from tests.truth import SAMPLE_CLIPS, read_truth_facts


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The same run as three noisy measurements of it, under three names."""
    folder = tmp_path_factory.mktemp("outputs")
    for seed in (1, 2, 3):
        analysis = invent_analysis("hitch-slips", seed)
        named = analysis.run.sheet.run.model_copy(update={"name": f"run {seed}"})
        sheet = analysis.run.sheet.model_copy(update={"run": named})
        analysis = dataclasses.replace(analysis, run=dataclasses.replace(analysis.run, sheet=sheet))
        write_results(analysis, folder / f"run {seed}")
    return [folder / f"run {seed}" for seed in (1, 2, 3)]


def test_a_run_is_told_in_single_numbers(runs: list[Path]) -> None:
    truth = read_truth_facts(SAMPLE_CLIPS / "hitch-slips")["verdict"]
    found = {(r.machine, r.quantity): r for r in read_readings(runs[0])}
    lead = found[truth["winner"], "lead at the end"]
    assert lead.value == pytest.approx(truth["margin_mm"] / 1000, abs=4 * lead.u + 1e-3)
    loser = next(m for m, q in found if q == "lead at the end" and m != truth["winner"])
    assert found[loser, "lead at the end"].value == -lead.value
    ways = [found[m, "distance towards home"].value for m in (truth["winner"], loser)]
    assert ways[0] > 0 > ways[1]
    assert found["", "peak pull"].value >= found["", "mean pull"].value > 0


def test_repeats_of_one_run_scatter_as_they_say(runs: list[Path]) -> None:
    rows, names, _ = compare_runs([runs])
    assert names == [["run 1", "run 2", "run 3"]]
    ways = [row for row in rows if row.quantity == "distance towards home"]
    assert ways
    assert all(row.groups[0].p_alike > 0.001 for row in ways)
    assert all(np.isfinite(row.s_r) for row in ways)
    table = format_repeats(rows).splitlines()
    assert len(table) == len(rows) + 1
    assert len({line.count(",") for line in table if '"' not in line}) == 1


def test_a_machine_can_be_picked(runs: list[Path]) -> None:
    rows, _, _ = compare_runs([runs[:2], runs[2:]], "heron")
    assert {row.machine for row in rows} == {"heron", ""}


def test_mistakes_are_told(runs: list[Path], tmp_path: Path) -> None:
    for groups, machine, said in (
        ([[runs[0], runs[0]]], None, "named twice"),
        ([[runs[0]]], None, "one run alone"),
        ([runs], "emu", "no run measured a machine called emu"),
        ([[tmp_path, runs[0]]], None, "neither results nor a run sheet"),
    ):
        with pytest.raises(OutputError, match=said):
            compare_runs(groups, machine)
    sheet = tmp_path / "run.toml"
    sheet.write_text(
        '[run]\nname = "new"\nclip = "c.mp4"\n[clock]\nstart_s = 1\nduration_s = 8\n'
        "[table]\nlength_m = 2\nwidth_m = 1\n"
    )
    with pytest.raises(OutputError, match="no results yet"):
        find_results(tmp_path, tmp_path / "outputs")
