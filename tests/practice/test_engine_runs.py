"""Each kind of practice run recovers what the physics engine was given; the study over many seeds is a benchmark."""

import pytest

from tests.practice.runs import measure_points, play_case, practice_case


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sled", "slope", "free"])
def test_known_parameters_are_recovered(kind: str) -> None:
    """One run of each kind within three standard uncertainties, which even a dozen numbers hardly ever leave."""
    case = practice_case(kind, 7)
    run = play_case(case)
    measured = {parameter.key[-1]: parameter for parameter in measure_points(case, run, 7).parameters}
    for key, true in case.truth(run).items():
        parameter = measured[key]
        assert abs(parameter.value - true) <= 1.53 * parameter.u95, (key, true, parameter)
        assert parameter.u95 < 0.2 * abs(true)
        assert parameter.budget
