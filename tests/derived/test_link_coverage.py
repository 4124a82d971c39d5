"""Intervals of the link's tension hold the truth as often as they say, over many invented hang tests and readings."""

import numpy as np

from matchvision.pull.hanging import fit_link
from matchvision.pull.link import measure_link
from matchvision.records.sheet import HangTest
from tests.made_motion import make_rope

MASSES_KG = np.array([0.0, 0.2, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])


def test_intervals_hold_the_true_tension() -> None:
    """Each trial has its own hang test, camera scale, gravity and one reading: all that the budget names."""
    generator = np.random.default_rng(20)
    errors, uncertainties = [], []
    for _ in range(600):
        stiffness, rest_m, u_reading_m, u_seen_m, u_scale = 480.0, 0.06, 0.0003, 0.0002, 0.002
        gravity = 9.80665 + generator.uniform(-0.026, 0.026)
        hung_m = rest_m + MASSES_KG * gravity / stiffness + u_reading_m * generator.standard_normal(len(MASSES_KG))
        law = fit_link(HangTest(MASSES_KG, hung_m, ("",) * len(MASSES_KG)), u_reading_m)
        true_N = generator.uniform(1.0, 35.0)
        scale = 1 + u_scale * generator.standard_normal()
        seen_m = (rest_m + true_N / stiffness) * scale + u_seen_m * generator.standard_normal()
        rope = make_rope(1, link_length_m=seen_m, u_link_length_m=u_seen_m, u_link_common_ratio=u_scale)
        source = measure_link(law, rope)
        errors.append(float(source.tension_N[0]) - true_N)
        uncertainties.append(float(source.u_tension_N[0]))
    error, u = np.array(errors), np.array(uncertainties)
    assert 0.92 <= np.mean(np.abs(error) < 1.96 * u) <= 0.98
    assert 0.85 < np.sqrt(np.mean(error**2) / np.mean(u**2)) < 1.15


def test_intervals_hold_with_a_curve_and_hysteresis() -> None:
    """A link that grows stiffer, and is longer while unloading; in the rope it lies anywhere between both ways."""
    generator = np.random.default_rng(21)
    rest_m, compliance, bend, half_gap_m, u_reading_m, u_seen_m = 0.06, 1 / 480, -6e-6, 0.0004, 0.0002, 0.0002

    def length_m(force_N: np.ndarray | float) -> np.ndarray | float:
        return rest_m + compliance * force_N + bend * force_N**2

    masses_kg = np.concatenate([MASSES_KG, MASSES_KG[::-1]])
    way = ("up",) * len(MASSES_KG) + ("down",) * len(MASSES_KG)
    shift_m = np.repeat([-half_gap_m, half_gap_m], len(MASSES_KG))
    errors, uncertainties = [], []
    for _ in range(400):
        noise_m = u_reading_m * generator.standard_normal(len(masses_kg))
        law = fit_link(HangTest(masses_kg, length_m(masses_kg * 9.80665) + shift_m + noise_m, way), u_reading_m)
        assert law.curved
        true_N = generator.uniform(2.0, 28.0)
        seen_m = length_m(true_N) + half_gap_m * generator.uniform(-1, 1) + u_seen_m * generator.standard_normal()
        source = measure_link(law, make_rope(1, link_length_m=float(seen_m), u_link_length_m=u_seen_m))
        errors.append(float(source.tension_N[0]) - true_N)
        uncertainties.append(float(source.u_tension_N[0]))
    error, u = np.array(errors), np.array(uncertainties)
    assert 0.92 <= np.mean(np.abs(error) < 1.96 * u) <= 0.98
    assert 0.85 < np.sqrt(np.mean(error**2) / np.mean(u**2)) < 1.15
