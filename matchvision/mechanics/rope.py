"""The rope: a one-sided spring with a little damping, and how much of it lies on each side of the centre line."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.sheet import HangTest

#: Stiffness [N/m] assumed where the sheet states none: a cord of 1 m that stretches by 2 % at 100 N.
ASSUMED_STIFFNESS_N_PER_M: Final = 5000.0
#: Damping [N s/m] assumed: about 7 % of critical for machines of 2.5 kg on that cord.
ASSUMED_DAMPING_N_S_PER_M: Final = 12.0


@dataclass(frozen=True)
class RopeModel:
    """A rope of unstretched length [m] (links at rest included), its stiffness [N/m] and damping [N s/m].

    From ``release_s`` (match time) on it pulls no more: a hitch has let it go. Over a crest it lies ``lying_m`` above
    the surface: its beads' radius.
    """

    length_m: float
    stiffness_N_per_m: float = ASSUMED_STIFFNESS_N_PER_M
    damping_N_s_per_m: float = ASSUMED_DAMPING_N_S_PER_M
    release_s: float = float("inf")
    lying_m: float = 0.0


def rope_tension_N(stretch_m: FloatArray, rate_m_s: FloatArray, rope: RopeModel) -> FloatArray:  # noqa: N802 - SI
    """Tension [N] at a stretch [m] and its rate [m/s]: spring and damping while stretched, never a push.

    Notes
    -----
    ``T = max(0, k e + c ė (1 − exp(−e/e₀)))`` for e > 0, with e₀ = 0.1 mm so that damping does not set in with a jump.
    Checked by: tests/derived/test_rope_law.py::test_one_sided_spring
    """
    stretch = np.asarray(stretch_m, dtype=np.float64)
    onset = 1.0 - np.exp(-np.maximum(stretch, 0.0) / 1e-4)
    tension = rope.stiffness_N_per_m * stretch + rope.damping_N_s_per_m * np.asarray(rate_m_s) * onset
    return np.where(stretch > 0, np.maximum(tension, 0.0), 0.0)


def stiffness_in_series_N_per_m(*stiffness_N_per_m: float) -> float:  # noqa: N802 - SI
    """Stiffness [N/m] of springs one behind the other: reciprocals add.

    Notes
    -----
    Checked by: tests/derived/test_rope_law.py::test_springs_in_series
    """
    return 1.0 / sum(1.0 / k for k in stiffness_N_per_m)


def damping_in_series_N_s_per_m(damping_N_s_per_m: float, own_N_per_m: float, other_N_per_m: float) -> float:  # noqa: N802
    """Damping [N s/m] of a damped spring behind an undamped one, of both together; stiffnesses in N/m.

    Notes
    -----
    With stiffness ``k + i ω c`` for the damped one (Kelvin and Voigt) and ``l`` for the other, both together have
    ``l (k + i ω c) / (l + k + i ω c)``. Its imaginary part over ω goes to ``c (l / (l + k))²`` while ω c is far below
    l + k: the damped one has the share l / (l + k) of the stretch, and of its rate.
    Checked by: tests/derived/test_rope_law.py::test_damping_behind_a_link
    """
    return damping_N_s_per_m * (other_N_per_m / (other_N_per_m + own_N_per_m)) ** 2


def link_stiffness_N_per_m(hang: HangTest, gravity_m_s2: float) -> float:  # noqa: N802 - SI
    """Stiffness [N/m] of a sprung link from its hang test: gravity over the least-squares slope of length on mass."""
    slope_m_per_kg = float(np.polyfit(hang.mass_kg, hang.length_m, 1)[0])
    return gravity_m_s2 / slope_m_per_kg


def rope_on_plus_x_m(first_x_m: FloatArray, second_x_m: FloatArray, lying_m: FloatArray) -> FloatArray:
    """Rope [m] on the +x side of the centre line, for hitches at ``first_x_m`` and ``second_x_m`` (any one shape).

    ``lying_m`` is the rope's length as it lies. It is shared in proportion to the straight line between the hitches,
    which is exact for a taut rope.
    """
    low, high = np.minimum(first_x_m, second_x_m), np.maximum(first_x_m, second_x_m)
    across = np.maximum(high - low, 1e-12)
    return np.asarray(lying_m * np.clip(high / across, 0.0, 1.0))
