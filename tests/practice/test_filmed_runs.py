"""A small clip of each kind of practice run, drawn, encoded and analysed as a user would."""

from dataclasses import replace
from pathlib import Path

import pytest

from matchvision import pipeline
from matchvision.filming import film, run_sheet
from matchvision.sheets import load_run
from matchvision.writing.measured import format_measured
from tests.practice.runs import KINDS, play_case, practice_case

SEED = 3
#: The least that each kind can do with [s]: pictures cost time.
LASTS_S = {"sled": 1.8, "lift": 1.6, "stall": 3.2, "slope": 1.7, "coast": 1.2, "free": 2.0}


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_numbers_come_through_pictures(kind: str, tmp_path: Path) -> None:
    """Within three standard uncertainties of what the engine was given."""
    case = practice_case(kind, SEED)
    full = case.scene.camera
    camera = replace(
        full,
        size_px=(640, 360),
        f_px=(full.f_px[0] / 2, full.f_px[1] / 2),
        centre_px=(321.6, 178.4),
        frames_per_s=30.0,
        subframes=1,
    )
    clock = replace(case.scene.clock, start_s=0.3, duration_s=LASTS_S[kind], after_s=0.1)
    scene, told = (replace(one, camera=camera, clock=clock) for one in (case.scene, case.told))
    case = replace(case, scene=scene, told=told)
    run = play_case(case)
    film(scene, tmp_path, course=run.course)
    (tmp_path / "run.toml").write_text(run_sheet(told), encoding="utf-8")
    analysis = pipeline.analyze(load_run(tmp_path))
    assert analysis.practice is not None
    measured = {parameter.key[-1]: parameter for parameter in analysis.practice.parameters}
    for key, true in case.truth(run).items():
        parameter = measured[key]
        assert abs(parameter.value - true) <= 1.53 * parameter.u95, (key, true, parameter)
        assert parameter.u95 < 0.25 * abs(true)
    text = format_measured(analysis, analysis.practice)
    assert all(parameter.key[-1] in text for parameter in analysis.practice.parameters)
