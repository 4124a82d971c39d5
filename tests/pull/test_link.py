"""The sprung link's hang test and what it makes of a length."""

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.pull.hanging import fit_link
from matchvision.pull.link import measure_link, split_scatter
from matchvision.records.sheet import HangTest
from tests.made_motion import make_rope

G = 9.80665
MASSES_KG = np.array([0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])


def hang(length_m: np.ndarray, loading: tuple[str, ...] | None = None) -> HangTest:
    return HangTest(MASSES_KG, length_m, loading or ("",) * len(MASSES_KG))


def test_line_is_inverted() -> None:
    law = fit_link(hang(0.06 + MASSES_KG * G / 500), 0.0003)
    source = measure_link(law, make_rope(1, link_length_m=0.06 + 12.5 / 500, u_link_length_m=0.0005), np.arange(1.0))
    assert source.tension_N[0] == pytest.approx(12.5, abs=1e-9)
    assert law.opening_N == 0


def test_uncertainty_grows_beyond_the_hang_test() -> None:
    law = fit_link(hang(0.06 + MASSES_KG * G / 500), 0.0003)
    u = law.law_uncertainty(0.06 + np.array([13.0, 29.4, 45.0, 60.0]) / 500)
    assert np.all(np.diff(u) > 0)
    assert u[3] > 3 * u[0]


def test_slack_rope_pulls_with_nothing() -> None:
    law = fit_link(hang(0.06 + MASSES_KG * G / 500), 0.0003)
    rope = make_rope(2, link_length_m=np.array([0.0604, np.nan]), u_link_length_m=np.array([0.0005, np.nan]), slack=1.0)
    source = measure_link(law, rope, np.arange(len(rope.slack), dtype=np.float64))
    assert np.all(source.tension_N == 0)
    assert np.all(source.u_tension_N == pytest.approx(0.25))


def test_preloaded_link_says_nothing_below_its_opening() -> None:
    """Wound with a preload of 4 N: closed at 60 mm under 0 and 0.25 kg (2.5 N)."""
    length_m = np.maximum(0.06, 0.06 + (MASSES_KG * G - 4.0) / 500)
    law = fit_link(hang(length_m), 0.0002)
    assert law.opening_N == pytest.approx(4.0, abs=0.05)
    rope = make_rope(2, link_length_m=np.array([0.06, 0.06 + 6.0 / 500]), u_link_length_m=0.0001)
    source = measure_link(law, rope, np.arange(len(rope.slack), dtype=np.float64))
    assert source.tension_N == pytest.approx([2.0, 10.0], abs=0.05)
    assert source.u_tension_N[0] > 4.0 / np.sqrt(12)


def test_reading_noise_is_not_taken_for_a_preload() -> None:
    generator = np.random.default_rng(5)
    opened = [
        fit_link(hang(0.06 + MASSES_KG * G / 500 + 0.0003 * generator.standard_normal(8)), 0.0003).opening_N
        for _ in range(300)
    ]
    assert np.mean(np.array(opened) > 0) < 0.01


def test_hysteresis_counts_as_uncertainty() -> None:
    up, down = 0.06 + MASSES_KG * G / 500 - 0.001, 0.06 + MASSES_KG * G / 500 + 0.001
    test = HangTest(np.tile(MASSES_KG, 2), np.concatenate([up, down]), ("up",) * 8 + ("down",) * 8)
    law = fit_link(test, 0.0003)
    assert law.half_gap_m(np.array([law.lowest_N, law.highest_N])) == pytest.approx(0.001)
    source = measure_link(law, make_rope(1, link_length_m=0.08, u_link_length_m=0.0), np.arange(1.0))
    assert source.tension_N[0] == pytest.approx(10.0, abs=1e-6)
    assert source.u_tension_N[0] >= 0.001 / np.sqrt(3) * 500


def test_too_few_masses_are_refused() -> None:
    test = HangTest(np.array([0.0, 1.0, 1.0]), np.array([0.06, 0.08, 0.0801]), ("",) * 3)
    with pytest.raises(CannotMeasure, match="2 different masses"):
        fit_link(test, 0.0003)


def test_swapped_lengths_are_refused() -> None:
    with pytest.raises(CannotMeasure, match="does not get longer"):
        fit_link(hang((0.06 + MASSES_KG * G / 500)[::-1].copy()), 0.0003)


def test_what_scatters_and_what_lasts_are_told_apart() -> None:
    """White noise of 0.2 mm beside a stated 0.5 mm: the rest is common to all frames and stays in a mean."""
    generator = np.random.default_rng(6)
    length_m = 0.08 + 0.01 * np.sin(np.linspace(0, 6, 400)) + 0.0002 * generator.standard_normal(400)
    scatter_m, lasting_m = split_scatter(length_m, np.full(400, 0.0005))
    assert scatter_m == pytest.approx(0.0002, rel=0.15)
    assert scatter_m**2 + lasting_m**2 == pytest.approx(0.0005**2)


def test_opening_is_as_uncertain_as_it_says() -> None:
    """Law and closed length are correlated numbers of one hang test: the opening's scatter over 200 such tests."""
    generator = np.random.default_rng(7)
    length_m = np.maximum(0.06, 0.06 + (MASSES_KG * G - 4.0) / 500)
    laws = [fit_link(hang(length_m + 0.0002 * generator.standard_normal(8)), 0.0002) for _ in range(200)]
    opened = [law for law in laws if law.opening_N > 0]
    assert len(opened) > 150
    stated_N = np.sqrt(np.mean([law.u_opening_N**2 for law in opened]))
    assert np.std([law.opening_N for law in opened]) == pytest.approx(stated_N, rel=0.25)
