"""A small clip of each kind of practice run, drawn, encoded and analysed as a user would."""

from pathlib import Path

import pytest

from matchvision import pipeline
from matchvision.filming import film, run_sheet
from matchvision.sheets import load_run
from matchvision.writing.measured import format_measured
from tests.practice.runs import KINDS, play_case, small_case

SEED = 3


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_numbers_come_through_pictures(kind: str, tmp_path: Path) -> None:
    """Within three standard uncertainties of what the engine was given."""
    case = small_case(kind, SEED)
    run = play_case(case)
    film(case.scene, tmp_path, course=run.course)
    (tmp_path / "run.toml").write_text(run_sheet(case.told), encoding="utf-8")
    analysis = pipeline.analyze(load_run(tmp_path))
    assert analysis.practice is not None
    measured = {parameter.key[-1]: parameter for parameter in analysis.practice.parameters}
    for key, true in case.truth(run).items():
        parameter = measured[key]
        assert abs(parameter.value - true) <= 1.53 * parameter.u95, (key, true, parameter)
        assert parameter.u95 < 0.25 * abs(true)
    text = format_measured(analysis, analysis.practice)
    assert all(parameter.key[-1] in text for parameter in analysis.practice.parameters)
