"""Linear propagation with correlated inputs, Monte Carlo where it bends, and coverage factors."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray

Numbers = float | FloatArray


def jacobian_of(
    function: Callable[[FloatArray], FloatArray], values: FloatArray, steps: FloatArray | None = None
) -> FloatArray:
    """Derivatives (m, n) of a function from n inputs to m outputs, by central differences.

    Parameters
    ----------
    steps : (n,) float array, optional
        Step of each input; best about its standard uncertainty (JCGM 100:2008, 5.1.3 note 2). Without it 1e-5 of the
        input, or 1e-7 for a zero.
    """
    x = np.asarray(values, dtype=np.float64)
    if steps is None:
        steps = np.where(x == 0, 1e-7, 1e-5 * np.abs(x))
    columns = []
    for k, step in enumerate(np.asarray(steps, dtype=np.float64)):
        shift = np.zeros_like(x)
        shift[k] = step if step > 0 else 1e-7
        ahead, behind = np.atleast_1d(function(x + shift)), np.atleast_1d(function(x - shift))
        columns.append((ahead - behind) / (2 * shift[k]))
    return np.stack(columns, axis=-1)


def parts_of_uncertainty(
    function: Callable[[Mapping[str, Numbers]], FloatArray],
    values: Mapping[str, Numbers],
    u_inputs: Mapping[str, Numbers],
) -> dict[str, FloatArray]:
    """What one standard uncertainty of each named input does to a function's output, with its sign, in its shape.

    Inputs without an entry in ``u_inputs`` are taken as exact. For independent inputs the root sum of squares of the
    parts is the output's standard uncertainty.

    Notes
    -----
    ``(f(x + u) − f(x − u))/2``, one input at a time: JCGM 100:2008, 5.1.3 note 2.
    Checked by: tests/published/test_gum.py::test_parts_make_up_the_propagated_uncertainty
    """
    parts = {}
    for name, u in u_inputs.items():
        ahead, behind = (function({**values, name: values[name] + step}) for step in (u, -1.0 * np.asarray(u)))
        parts[name] = np.asarray((ahead - behind) / 2, dtype=np.float64)
    return parts


def propagate(
    function: Callable[[FloatArray], FloatArray], values: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Outputs (m,) of a function and their covariance (m, m) from inputs (n,) with covariance (n, n).

    Notes
    -----
    First order, correlated inputs: C_y = J C_x J^T (JCGM 100:2008, eq. 13; JCGM 102 for several outputs).
    Checked by: tests/published/test_gum.py::test_h1_end_gauge
    """
    x = np.asarray(values, dtype=np.float64)
    covariance = np.atleast_2d(np.asarray(covariance, dtype=np.float64))
    u = np.sqrt(np.diag(covariance))
    jacobian = jacobian_of(function, x, np.where(u > 0, u * 1e-2, 1e-7))
    return np.atleast_1d(np.asarray(function(x), dtype=np.float64)), jacobian @ covariance @ jacobian.T


@dataclass(frozen=True)
class Simulated:
    """What a Monte Carlo propagation gives for one output: estimate, u and intervals of stated coverage.

    ``low``, ``high`` cut off equal chances on both sides; ``shortest_low``, ``shortest_high`` bound the shortest
    interval of that coverage.
    """

    value: float
    u: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float
    samples: int


def simulate(
    function: Callable[[FloatArray], FloatArray],
    draw: Callable[[np.random.Generator, int], FloatArray],
    generator: np.random.Generator,
    *,
    samples: int = 20_000,
    coverage: float = 0.95,
) -> Simulated:
    """Propagate whole distributions through a function with one output.

    Parameters
    ----------
    function : from (samples, n) to (samples,)
    draw : gives (samples, n) draws of the inputs from a generator
    coverage : chance that the interval holds

    Notes
    -----
    JCGM 101:2008, 7.2 to 7.7; shortest interval by 7.7.4 and 5.3.4.
    Checked by: tests/published/test_gum_monte_carlo.py::test_sum_of_four_rectangular
    """
    y = np.sort(np.asarray(function(draw(generator, samples)), dtype=np.float64))
    count = len(y)
    inside = int(coverage * count + 0.5)
    left = (count - inside) // 2
    widths = y[inside:] - y[: count - inside]
    shortest = int(np.argmin(widths))
    return Simulated(
        value=float(y.mean()),
        u=float(y.std(ddof=1)),
        low=float(y[left]),
        high=float(y[left + inside]),
        shortest_low=float(y[shortest]),
        shortest_high=float(y[shortest + inside]),
        samples=count,
    )


def first_order_bends(value: float, u: float, simulated: Simulated, *, coverage: float = 0.95, digits: int = 2) -> bool:
    """Whether a first-order result misses the simulated interval's ends by more than its own last digit.

    Notes
    -----
    JCGM 101:2008, 8.1: with u = c·10^l, c of ``digits`` digits, the tolerance is δ = ½·10^l; both ends of the interval
    value ± k u must lie within δ of the simulated ones. ``digits`` = 1 suits draws of some ten thousand.
    Checked by: tests/published/test_gum_monte_carlo.py::test_mass_calibration_bends
    """
    if not u > 0:
        return simulated.u > 0
    tolerance = 0.5 * 10.0 ** (np.floor(np.log10(u)) - digits + 1)
    half = coverage_factor(np.inf, coverage) * u
    return bool(max(abs(value - half - simulated.low), abs(value + half - simulated.high)) > tolerance)


def effective_degrees(u_parts: FloatArray, degrees: FloatArray) -> float:
    """Effective degrees of freedom of a sum of independent parts, infinite degrees allowed.

    Notes
    -----
    Welch–Satterthwaite: ν = u⁴ / Σ (u_i⁴ / ν_i), JCGM 100:2008, G.2b.
    Checked by: tests/published/test_gum.py::test_four_equal_parts_of_ten_degrees
    """
    u4 = np.asarray(u_parts, dtype=np.float64) ** 4
    below = float(np.sum(u4 / np.asarray(degrees, dtype=np.float64)))
    return float(np.sum(np.sqrt(u4)) ** 2 / below) if below > 0 else float("inf")


def coverage_factor(degrees: float, coverage: float = 0.95) -> float:
    """Factor k from standard to expanded uncertainty, from Student's t (JCGM 100:2008, G.3); normal for ∞ degrees."""
    from scipy import special  # slow to load, and the clip's first pictures need not wait for it

    chance = (1 + coverage) / 2
    if np.isinf(degrees):
        return float(special.ndtri(chance))
    return float(special.stdtrit(degrees, chance))
