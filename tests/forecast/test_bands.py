"""Samples carry what the sheet states, and chances add up."""

import numpy as np
import pytest

from matchvision.forecast.bands import band, chance, draw_samples
from matchvision.mechanics.stated import Stated


def stated(*numbers: Stated) -> dict[str, Stated]:
    return {number.key: number for number in numbers}


def test_samples_have_the_stated_spread() -> None:
    drawn = draw_samples(stated(Stated("a", 2.0, 0.1), Stated("b", 5.0, 0.0), Stated("c", -0.0, 0.0)), 512, 1)
    a = np.array([sample["a"] for sample in drawn])
    assert len(drawn) == 512
    assert a.mean() == pytest.approx(2.0, abs=2e-3)
    assert a.std() == pytest.approx(0.1, rel=0.02)
    assert {sample["b"] for sample in drawn} == {5.0}


def test_different_numbers_are_drawn_apart() -> None:
    drawn = draw_samples(stated(Stated("a", 2.0, 0.1), Stated("b", 5.0, 0.2)), 512, 1)
    pairs = np.array([[sample["a"], sample["b"]] for sample in drawn])
    assert abs(np.corrcoef(pairs.T)[0, 1]) < 0.05


def test_samples_stay_where_they_mean_something() -> None:
    drawn = draw_samples(stated(Stated("friction", 0.02, 0.05), Stated("efficiency", 0.95, 0.2, 1.0)), 256, 1)
    assert min(sample["friction"] for sample in drawn) >= 0
    assert max(sample["efficiency"] for sample in drawn) <= 1


def test_grip_measured_once_moves_together() -> None:
    same = stated(Stated("forecast.heron.grip_static", 0.8, 0.05), Stated("forecast.heron.grip_sliding", 0.8, 0.05))
    assert all(s["forecast.heron.grip_static"] == s["forecast.heron.grip_sliding"] for s in draw_samples(same, 64, 1))
    apart = stated(Stated("forecast.heron.grip_static", 0.9, 0.05), Stated("forecast.heron.grip_sliding", 0.8, 0.05))
    differences = [
        s["forecast.heron.grip_static"] - s["forecast.heron.grip_sliding"] for s in draw_samples(apart, 64, 1)
    ]
    assert np.std(differences) > 0.05


def test_seed_decides_the_samples() -> None:
    numbers = stated(Stated("a", 2.0, 0.1))
    assert draw_samples(numbers, 16, 7) == draw_samples(numbers, 16, 7)
    assert draw_samples(numbers, 16, 7) != draw_samples(numbers, 16, 8)


def test_nothing_uncertain_needs_one_sample() -> None:
    drawn = draw_samples(stated(Stated("a", 2.0, 0.0)), 256, 1)
    assert drawn == [{"a": 2.0}]
    middle, spread = band([np.array([1.0, 2.0])])
    np.testing.assert_array_equal(middle, [1, 2])
    np.testing.assert_array_equal(spread, [0, 0])


def test_chances_of_both_sides_add_to_one() -> None:
    assert chance(37, 256) + chance(256 - 37, 256) == pytest.approx(1.0)
    assert 0 < chance(0, 256) < chance(256, 256) < 1
