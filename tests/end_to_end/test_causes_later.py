"""`analyze --no-causes`, and `causes` another time: together what one analysis gives."""

import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from matchvision.cli import main
from matchvision.filming import demo_scene, film


@pytest.mark.slow
def test_causes_are_added_another_time_by_the_command(tmp_path: Path) -> None:
    scene = demo_scene(2)
    camera = replace(
        scene.camera, size_px=(960, 540), f_px=(744.0, 745.1), centre_px=None, frames_per_s=30.0, subframes=1
    )
    clock = replace(scene.clock, duration_s=1.5, after_s=0.2)
    folder, out = tmp_path / "run", tmp_path / "results"
    film(replace(scene, camera=camera, clock=clock, thing=()), folder)

    def run(*words: str) -> tuple[int, str]:
        result = CliRunner().invoke(main, [*words, str(folder), "--out", str(out)])
        return result.exit_code, result.output

    code, said = run("analyze", "--no-causes", "--no-clip")
    assert code in (0, 1), said
    assert "Causes" not in (out / "report.html").read_text(encoding="utf-8").partition('id="methods"')[2]
    first = json.loads((out / "result.json").read_text(encoding="utf-8"))
    assert first["causes_due"]
    assert not first["causes"]
    assert (out / "causes-due.npz").is_file()
    assert pd.read_csv(out / "causes.csv").empty

    code, said = run("causes")
    assert code == 0, said
    assert "report.html" in said
    told = json.loads((out / "result.json").read_text(encoding="utf-8"))
    assert not told["causes_due"]
    assert not (out / "causes-due.npz").exists()
    chances = [row["probability"] for row in told["causes"]]
    assert sum(chances) == pytest.approx(1.0, abs=0.06)
    assert pd.read_csv(out / "causes.csv")["cause"].tolist() == [row["cause"] for row in told["causes"]]
    for key in ("verdict", "comparison", "events", "peaks"):
        assert told[key] == first[key]
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "<b>Causes.</b> Every explanation with one change" in page
    # What the likeliest makes of the run: each quantity measured, forecast and explained.
    assert page.count('class="lever explained"') >= 3
    assert "of each quantity&#39;s size (rms) off what was measured" in page

    code, said = run("causes")
    assert code == 2
    assert "no causes are due here" in said
    assert "What to do" in said
