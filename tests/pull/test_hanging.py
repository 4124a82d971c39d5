"""The law that a hang test gives: line or curve, loading and unloading, beyond its points."""

import numpy as np
import pytest

from matchvision.pull.hanging import fit_link
from matchvision.pull.link import measure_link
from matchvision.records.sheet import HangTest
from tests.made_motion import make_rope

G = 9.80665
MASSES_KG = np.array([0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
#: A link that stiffens: 2.4 mm/N at first, 1.5 mm/N under 29 N.
BEND = -15e-6


def bent_m(force_N: np.ndarray) -> np.ndarray:
    return 0.06 + 2.4e-3 * force_N + BEND * force_N**2


def hang(length_m: np.ndarray, masses_kg: np.ndarray = MASSES_KG, way: str = "") -> HangTest:
    return HangTest(masses_kg, length_m, (way,) * len(masses_kg))


def test_curve_is_seen_and_inverted() -> None:
    generator = np.random.default_rng(1)
    law = fit_link(hang(bent_m(MASSES_KG * G) + 0.0003 * generator.standard_normal(8)), 0.0003)
    assert law.curved
    assert law.opening_N == 0
    true_N = np.linspace(1.0, 29.0, 8)
    found_N = law.force_from(bent_m(true_N))
    assert np.all(np.abs(found_N - true_N) < 3 * law.law_uncertainty(true_N))
    assert law.force_from(law.length_at(true_N)) == pytest.approx(true_N)


def test_beyond_its_points_a_curve_goes_straight_on_and_says_how_unsure_that_is() -> None:
    """Its vertex lies at 80 N: drawn on as a parabola it would turn back; a true length beyond stays within reach."""
    law = fit_link(hang(bent_m(MASSES_KG * G)), 0.0003)
    far_N = np.array([45.0, 60.0])
    found_N = law.force_from(bent_m(far_N))
    u_N = law.law_uncertainty(found_N)
    assert np.all(np.abs(found_N - far_N) < 1.96 * u_N)
    assert u_N[1] > 2 * u_N[0] > 4 * law.law_uncertainty(np.array([29.0]))[0]
    assert np.all(np.diff(law.force_from(np.linspace(0.05, 0.3, 100))) > 0)


def test_straight_link_is_seldom_taken_for_a_curve() -> None:
    """Stated: one in a thousand, so 0.6 of 600; five or more would come up once in 2500 times."""
    generator = np.random.default_rng(2)
    tests = [hang(0.06 + MASSES_KG * G / 500 + 0.0003 * generator.standard_normal(8)) for _ in range(600)]
    assert sum(fit_link(test, 0.0003).curved for test in tests) < 5


def test_loading_and_unloading_have_a_line_each() -> None:
    """The gap is widest at the bottom, as where coils rub: 2 mm there, 0.4 mm at 29 N."""
    force_N = MASSES_KG * G
    half_m = 0.001 - 0.0008 * force_N / force_N[-1]
    test = HangTest(
        np.tile(MASSES_KG, 2),
        np.concatenate([0.06 + force_N / 500 - half_m, 0.06 + force_N / 500 + half_m]),
        ("up",) * 8 + ("down",) * 8,
    )
    law = fit_link(test, 0.0003)
    assert law.half_gap_m(force_N) == pytest.approx(half_m)
    source = measure_link(law, make_rope(2, link_length_m=0.06 + np.array([5.0, 25.0]) / 500, u_link_length_m=0.0))
    assert source.tension_N == pytest.approx([5.0, 25.0])
    assert source.u_common_N[0] > 1.5 * source.u_common_N[1]
    assert any(line.name == "link hysteresis" and line.common for line in source.budget)


def test_one_way_alone_shows_no_gap() -> None:
    assert fit_link(hang(0.06 + MASSES_KG * G / 500, way="up"), 0.0003).hysteresis_m == 0
