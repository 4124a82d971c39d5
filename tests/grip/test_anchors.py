"""Anchored bases that creep and let go, and ones that only seem to."""

import numpy as np
import pytest

from matchvision.grip.anchors import find_break_away, find_creep
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import PullSource
from tests.made_motion import FloatArray, make_machine, make_motion, make_rope, seconds

T_S = seconds(6.0)
N = len(T_S)
CLOCK = MatchClock(1.0, 5.0)
NOISE_M = 0.0003


def base(away_m: FloatArray, generator: np.random.Generator) -> Motion:
    """A base whose home is +x and that is drawn towards -x, its pull at 5° off and level."""
    speed = -np.gradient(away_m, T_S)
    seen = -away_m + NOISE_M * generator.standard_normal(N)
    noisy = speed + 0.0015 * generator.standard_normal(N)
    moved = make_machine("plover", N, x_m=seen, speed_m_s=noisy, heading_deg=5.0)
    return make_motion(T_S, machines=[moved], rope=make_rope(N))


def pull_of(newtons: FloatArray) -> PullSource:
    return PullSource("fused", newtons, np.full(N, 0.2), np.full(N, 0.1), independent=True, budget=())


@pytest.mark.parametrize("speed_m_s", [0.006, 0.02])
def test_creep_is_found_and_dated(speed_m_s: float) -> None:
    generator = np.random.default_rng(2)
    for true_s in (2.5, 3.1):
        away = speed_m_s * np.clip(T_S - true_s, 0.0, 0.9)
        motion = base(away, generator)
        (event,) = find_creep(motion, motion.machines["plover"], pull_of(np.full(N, 9.0)), CLOCK)
        assert event.kind == "anchor-creep"
        assert event.start_s + 1.0 == pytest.approx(true_s, abs=0.12)
        assert event.end_s + 1.0 == pytest.approx(true_s + 0.9, abs=0.12)
        assert "9.0" in event.evidence


def test_standing_base_never_creeps() -> None:
    """Fifty runs of a base that stands under noise, half of them with noise tied from frame to frame."""
    generator = np.random.default_rng(3)
    found = 0
    for run in range(50):
        wander = np.convolve(generator.standard_normal(N + 3), np.ones(4) / 2, "valid") * NOISE_M if run % 2 else 0.0
        motion = base(np.zeros(N) + wander, generator)
        found += len(find_creep(motion, motion.machines["plover"], None, CLOCK))
        found += len(find_break_away(motion, motion.machines["plover"], None, 1, CLOCK))
    assert found == 0


def test_break_away_has_its_pull_and_angle() -> None:
    away = np.where(T_S > 3.0, 0.5 * 1.5 * np.maximum(T_S - 3.0, 0.0) ** 2, 0.0)
    motion = base(np.minimum(away, 0.4), np.random.default_rng(4))
    pull = pull_of(np.where(T_S < 3.0, 4.0 * T_S, 9.0))
    (event,) = find_break_away(motion, motion.machines["plover"], pull, 1, CLOCK)
    assert event.kind == "dislodged"
    assert event.start_s + 1.0 == pytest.approx(3.0 + 0.03 / 1.5, abs=0.03)
    assert "5° off straight back" in event.evidence
    assert "The pull was then" in event.evidence


def test_hold_that_leaks_away_is_told() -> None:
    away = 0.05 * np.maximum(T_S - 2.0, 0.0)
    motion = base(away, np.random.default_rng(5))
    pull = pull_of(12.0 - 1.5 * T_S + 0.05 * np.random.default_rng(6).standard_normal(N))
    (event,) = find_break_away(motion, motion.machines["plover"], pull, 1, CLOCK)
    assert "its hold changed by -1.50" in event.evidence.replace("−", "-")
