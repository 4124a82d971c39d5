"""Bends are found where they are, and noise alone has none more often than stated."""

import numpy as np
import pytest

from matchvision.grip.bends import FALSE_ALARMS, find_bends
from tests.made_motion import seconds

T_S = seconds(6.0)


def test_false_alarms_are_as_rare_as_stated() -> None:
    """White noise and noise tied from frame to frame: no more alarms than the bound says."""
    generator = np.random.default_rng(3)
    alarms = 0
    for run in range(300):
        noise = generator.standard_normal(len(T_S) + 1)
        tied = noise[1:] + (0.5 * noise[:-1] if run % 2 else 0.0)
        alarms += len(find_bends(T_S, 0.0003 * tied).at_s) > 0
    # 3 expected at the most; 9 or more would come in less than one of 200 trials.
    assert alarms < 300 * FALSE_ALARMS + 6


@pytest.mark.parametrize("rate_m_s", [0.004, 0.02, 0.2])
def test_bend_is_dated_within_its_uncertainty(rate_m_s: float) -> None:
    generator = np.random.default_rng(4)
    scaled = []
    for _ in range(30):
        true_s = 3.0 + generator.uniform(-0.5, 0.5)
        course = rate_m_s * np.maximum(0.0, T_S - true_s) + 0.0002 * generator.standard_normal(len(T_S))
        found = find_bends(T_S, course)
        assert len(found.at_s) >= 1
        k = int(np.argmin(np.abs(found.at_s - true_s)))
        assert found.rate[k + 1] == pytest.approx(rate_m_s, abs=4 * found.u_rate[k + 1])
        scaled.append((found.at_s[k] - true_s) / found.u_at_s[k])
    assert np.mean(np.abs(scaled) < 1.96) > 0.85
