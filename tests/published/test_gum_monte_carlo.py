"""Examples of the Guide's supplement on propagating distributions by Monte Carlo.

Source: JCGM 101:2008, 9.2 (additive model: four standard normal inputs; four rectangular ones of unit standard
deviation), 9.3 (mass calibration); second-order u of the end gauge in JCGM 100:2008, H.1.7.
Checks: `simulate`, `first_order_bends`, `propagate_inputs`.
Values as printed: 95 % intervals ±3.92 and ±3.88 (exact 3.8794); mass calibration u 0.0539 first order, 0.0755 Monte
Carlo; end gauge second-order u 34 nm.
Tolerance: four standard errors of the sampled quantity, computed beside each check; for the end gauge half a unit.
How obtained: printed values read and recomputed; the inputs of 9.3 are from memory and confirmed by both printed u.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.uncertainty import BENDING, Input, first_order_bends, propagate_inputs, simulate
from tests.published.test_gum import END_GAUGE, U_END_GAUGE, end_gauge_nm

FloatArray = npt.NDArray[np.float64]

SAMPLES = 200_000


def add(x: FloatArray) -> FloatArray:
    return np.asarray(x.sum(axis=1))


def test_sum_of_four_normal() -> None:
    result = simulate(add, lambda g, n: g.standard_normal((n, 4)), np.random.default_rng(1), samples=SAMPLES)
    # Standard error of a 2.5 % quantile of N(0, 2²): √(p(1−p)/n) / density = 0.0060.
    assert result.high == pytest.approx(3.92, abs=0.024 + 0.005)
    assert result.low == pytest.approx(-3.92, abs=0.024 + 0.005)
    assert result.u == pytest.approx(2.0, abs=4 * 2 / np.sqrt(2 * SAMPLES))
    assert not first_order_bends(0.0, 2.0, result, digits=1)


def test_sum_of_four_rectangular() -> None:
    half = np.sqrt(3.0)
    result = simulate(add, lambda g, n: g.uniform(-half, half, (n, 4)), np.random.default_rng(2), samples=SAMPLES)
    assert result.high == pytest.approx(3.8794, abs=0.022)
    assert result.low == pytest.approx(-3.8794, abs=0.022)
    assert result.shortest_high - result.shortest_low <= result.high - result.low + 1e-12


def mass_deviation_mg(x: FloatArray) -> FloatArray:
    reference, added, air, weight, standard = np.moveaxis(np.asarray(x), -1, 0)
    return np.asarray((reference + added) * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100_000.0)


def test_mass_calibration_bends() -> None:
    """Through the code that makes the pull's budgets: it notices, and its u is then the Monte Carlo one."""
    inputs = [
        Input("reference", 100_000.0, 0.050, "mg"),
        Input("added", 1.234, 0.020, "mg"),
        Input("air", 1.20, 0.10 / np.sqrt(3), "kg/m³", rectangular=True),
        Input("weight", 8000.0, 1000 / np.sqrt(3), "kg/m³", rectangular=True),
        Input("standard", 8000.0, 50 / np.sqrt(3), "kg/m³", rectangular=True),
    ]

    def deviation(at: Mapping[str, float | FloatArray]) -> FloatArray:
        return mass_deviation_mg(np.stack(np.broadcast_arrays(*(at[i.name] for i in inputs)), axis=-1))

    found = propagate_inputs(deviation, inputs, {}, 2, lambda _: 0, np.random.default_rng(3))
    assert found.value == pytest.approx(1.2340, abs=0.00005)
    first = np.sqrt(sum(e.effect**2 for e in found.effects if e.name != BENDING))
    assert first == pytest.approx(0.0539, abs=0.00005)
    assert found.bends
    # Standard error of a standard deviation from n draws: u/√(2n); n is 20 000 in the budget's frame, 2 000 elsewhere.
    assert found.u[0] == pytest.approx(0.0755, abs=4 * 0.0755 / np.sqrt(2 * 20_000) + 0.00005)
    assert found.u[1] == pytest.approx(0.0755, abs=4 * 0.0755 / np.sqrt(2 * 2_000) + 0.00005)


def test_end_gauge_second_order() -> None:
    def draw(g: np.random.Generator, n: int) -> FloatArray:
        return END_GAUGE + U_END_GAUGE * g.standard_normal((n, 6))

    result = simulate(lambda x: end_gauge_nm(x.T)[0], draw, np.random.default_rng(4), samples=SAMPLES)
    assert result.u == pytest.approx(34, abs=0.5)
