"""Worked examples of the Guide to the Expression of Uncertainty in Measurement.

Source: JCGM 100:2008, annex H.1 (end gauge), H.2 (simultaneous resistance and reactance), H.3 (thermometer line); G.4
for the effective degrees of freedom.
Checks: `propagate_inputs`, `expand`, `propagate`, `parts_of_uncertainty`, `fit_line`, `predict_line`,
`effective_degrees`, `coverage_factor`.
Values as printed: each stands beside its check.
Tolerance: half a unit of the last printed digit, since the Guide rounds
its intermediate results; where it shows in the last digit, one unit and the reason is given.
How obtained: printed values read in the Guide and recomputed from its input tables.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.uncertainty import (
    Input,
    coverage_factor,
    effective_degrees,
    expand,
    fit_line,
    parts_of_uncertainty,
    predict_line,
    propagate,
    propagate_inputs,
)

FloatArray = npt.NDArray[np.float64]


def end_gauge_nm(x: FloatArray) -> FloatArray:
    standard, difference, expansion, temperature, d_expansion, d_temperature = x
    return np.array([standard + difference - standard * (d_expansion * temperature + expansion * d_temperature)])


END_GAUGE = np.array([50_000_623.0, 215.0, 11.5e-6, -0.1, 0.0, 0.0])
U_END_GAUGE = np.array([25.0, 9.7, 1.2e-6, 0.41, 0.58e-6, 0.029])


NAMES = ("standard", "difference", "expansion", "temperature", "d_expansion", "d_temperature")
UNITS = ("nm", "nm", "1/K", "K", "1/K", "K")
#: Table H.1; the expansion's and the temperature's own u enter by products of zeros alone.
DEGREES = (18.0, 25.6, np.inf, np.inf, 50.0, 2.0)


def end_gauge_model(at: Mapping[str, float | FloatArray]) -> FloatArray:
    inputs = np.array(np.broadcast_arrays(*(at[name] for name in NAMES)), dtype=np.float64)
    return np.asarray(end_gauge_nm(inputs)[0], dtype=np.float64)


def test_h1_end_gauge() -> None:
    """Through the code that makes the pull's budgets, twice the same frame."""
    inputs = [
        Input(name, value, u, unit, degrees=nu)
        for name, value, u, unit, nu in zip(NAMES, END_GAUGE, U_END_GAUGE, UNITS, DEGREES, strict=True)
    ]
    found = propagate_inputs(end_gauge_model, inputs, {}, 2, lambda _: 0, np.random.default_rng(5))
    assert found.value == pytest.approx(50_000_838, abs=0.5)
    # Printed 32; from the printed, already rounded inputs it is 31.71, and its second order 34 (H.1.7) is no bend at
    # one digit of u.
    assert found.u == pytest.approx(32, abs=0.5)
    assert not found.bends
    # Printed 16; 16.66 from the printed inputs.
    assert int(found.degrees) == 16
    # Printed 93, where 32 is rounded up from 31.7: one unit more room.
    assert expand(float(found.u[0]), found.degrees, 0.99) == pytest.approx(93, abs=1.0)


def test_parts_make_up_the_propagated_uncertainty() -> None:
    """Table H.1, column u_i(l): 25, 9.7, 0, 0, 2.9 and 16.6 nm; together 32 nm (31.71 from these inputs)."""
    values = dict(zip(NAMES, END_GAUGE, strict=True))
    parts = parts_of_uncertainty(end_gauge_model, values, dict(zip(NAMES, U_END_GAUGE, strict=True)))
    for name, printed_nm in zip(NAMES, (25.0, 9.7, 0.0, 0.0, 2.9, 16.6), strict=True):
        # The last part is 16.68 from the printed inputs, 16.6 in print: one unit of the last digit.
        assert abs(float(parts[name])) == pytest.approx(printed_nm, abs=0.1), name
    assert np.sqrt(sum(float(part) ** 2 for part in parts.values())) == pytest.approx(32, abs=0.5)


def test_h1_expanded_uncertainty() -> None:
    # Parts of u [nm] as printed in table H.1: standard, difference, δα and δθ.
    u_parts, degrees = np.array([25.0, 9.7, 2.9, 16.6]), np.array([18, 25.6, 50, 2])
    nu = effective_degrees(u_parts, degrees)
    assert int(nu) == 16
    k = coverage_factor(int(nu), 0.99)
    assert k == pytest.approx(2.92, abs=0.005)
    # U = 2.92 · 32 = 93 in print, where 32 is rounded up from 31.7: one unit more room.
    assert expand(float(np.sqrt(np.sum(u_parts**2))), nu, 0.99) == pytest.approx(93, abs=1.0)


def test_h2_resistance_and_reactance() -> None:
    sets = np.array(
        [
            [5.007, 19.663e-3, 1.0456],
            [4.994, 19.639e-3, 1.0438],
            [5.005, 19.640e-3, 1.0468],
            [4.990, 19.685e-3, 1.0428],
            [4.999, 19.678e-3, 1.0433],
        ]
    )
    # Type A, eq. 5 and 17: means of five joint observations and their covariance.
    means, covariance = sets.mean(axis=0), np.cov(sets, rowvar=False) / len(sets)

    def impedance(x: FloatArray) -> FloatArray:
        voltage, current, phase = x
        z = voltage / current
        return np.array([z * np.cos(phase), z * np.sin(phase), z])

    values, spread = propagate(impedance, means, covariance)
    u = np.sqrt(np.diag(spread))
    r = spread / np.outer(u, u)
    assert values == pytest.approx([127.732, 219.847, 254.260], abs=0.0005)
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=0.001)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.001)


def test_h3_thermometer_line() -> None:
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    fit = fit_line(t, b, x_ref=20.0)
    assert fit.intercept == pytest.approx(-0.1712, abs=0.00005)
    assert fit.u_intercept == pytest.approx(0.0029, abs=0.00005)
    assert fit.slope == pytest.approx(0.00218, abs=0.000005)
    assert fit.u_slope == pytest.approx(0.00067, abs=0.000005)
    assert fit.correlation == pytest.approx(-0.930, abs=0.0005)
    assert fit.s == pytest.approx(0.0035, abs=0.00005)
    at_30, u_at_30 = predict_line(fit, 30.0)
    assert float(at_30) == pytest.approx(-0.1494, abs=0.00005)
    assert float(u_at_30) == pytest.approx(0.0041, abs=0.00005)


def test_four_equal_parts_of_ten_degrees() -> None:
    # Exact: (4 u²)² / (4 u⁴ / 10) = 40.
    assert effective_degrees(np.full(4, 0.3), np.full(4, 10.0)) == pytest.approx(40.0, rel=1e-12)
