"""The law that a hang test gives: its bend, loading and unloading, beyond its points."""

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
    assert np.all(np.abs(found_N - true_N) < 3 * law.law_uncertainty(bent_m(true_N)) / law.compliance(true_N))
    assert law.force_from(law.length_at(true_N)) == pytest.approx(true_N)


def test_beyond_its_points_the_law_says_how_unsure_it_is() -> None:
    """Its vertex lies at 80 N: drawn on as a parabola it would turn back; a true length beyond stays within reach."""
    law = fit_link(hang(bent_m(MASSES_KG * G)), 0.0003)
    far_N = np.array([29.0, 45.0, 60.0])
    source = measure_link(law, make_rope(3, link_length_m=bent_m(far_N), u_link_length_m=0.0002), np.arange(3.0))
    assert np.all(np.abs(source.tension_N - far_N) < 1.96 * source.u_tension_N)
    assert source.u_tension_N[2] > 2 * source.u_tension_N[1] > 4 * source.u_tension_N[0]
    assert np.all(np.diff(law.force_from(np.linspace(0.05, 0.3, 100))) > 0)
    lines = {line.name: line for line in source.budget}
    assert lines["law beyond the hang test"].u == max(line.u for line in source.budget)


def test_bend_of_a_straight_link_stays_within_its_uncertainty() -> None:
    """Over 600 tests the fitted bend of a straight link is as large as its covariance says."""
    generator = np.random.default_rng(2)
    laws = [
        fit_link(hang(0.06 + MASSES_KG * G / 500 + 0.0003 * generator.standard_normal(8)), 0.0003) for _ in range(600)
    ]
    z = np.array([law.coefficients[2] / np.sqrt(law.covariance[2, 2]) for law in laws])
    # Scatter beyond the stated one widens the covariance, so z spreads a little less than a normal's.
    assert 0.8 < np.std(z) < 1.1
    assert abs(np.mean(z)) < 3 / np.sqrt(600)


def test_few_masses_leave_room_for_a_bend() -> None:
    masses_kg = np.array([0.0, 1.0, 2.0, 3.0])
    law = fit_link(hang(0.06 + masses_kg * G / 500, masses_kg), 0.0003)
    assert not law.curved
    rope = make_rope(2, link_length_m=0.06 + np.array([15.0, 60.0]) / 500, u_link_length_m=0.0002)
    source = measure_link(law, rope, np.arange(len(rope.slack), dtype=np.float64))
    assert source.tension_N == pytest.approx([15.0, 60.0])
    # By the bend that four readings of 0.3 mm just let pass: 0.3 mm·√10.83/√Σq² with q = F² less its line.
    force_N = masses_kg * G
    square = np.polynomial.polynomial.polyfit(force_N, force_N**2, 1)
    left = force_N**2 - np.polynomial.polynomial.polyval(force_N, square)
    widest_m = (
        0.0003 * np.sqrt(10.83) / np.linalg.norm(left) * (60.0**2 - np.polynomial.polynomial.polyval(60.0, square))
    )
    assert source.u_tension_N[1] > widest_m * 500 / np.sqrt(3) > 5 * source.u_tension_N[0]


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
    source = measure_link(
        law, make_rope(2, link_length_m=0.06 + np.array([5.0, 25.0]) / 500, u_link_length_m=0.0), np.arange(2.0)
    )
    assert source.tension_N == pytest.approx([5.0, 25.0])
    assert source.u_common_N[0] > 1.5 * source.u_common_N[1]
    assert any(line.name == "link hysteresis" and line.common for line in source.budget)


def test_one_way_alone_shows_no_gap() -> None:
    law = fit_link(hang(0.06 + MASSES_KG * G / 500, way="up"), 0.0003)
    assert (law.half_gap_m(np.array([law.lowest_N, law.highest_N])) == 0).all()
