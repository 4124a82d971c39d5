"""One of the demo matches that ``python -m benchmarks demo_seeds`` films: the verdict follows the truth."""

import pytest

from benchmarks.demo_seeds import follow_truth

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("seed", [8])
def test_verdict_follows_truth(seed: int) -> None:
    found = follow_truth(seed)
    error_mm, reach_mm = found["margin_error_mm"], found["margin_U95_mm"]
    assert isinstance(error_mm, float)
    assert isinstance(reach_mm, float)
    assert found["right"] or not found["sure"]
    assert abs(error_mm) <= 1.5 * reach_mm
