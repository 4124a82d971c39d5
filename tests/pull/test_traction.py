"""Traction, load on the driven wheels, and the grip they use."""

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.pull.traction import driven_axle, measure_traction
from matchvision.records.pull import PullSource
from matchvision.records.sheet import Machine
from tests.made_motion import make_machine, make_rope

G = 9.80665
BODY = {"home": "+x", "mass_kg": 3.0, "wheelbase_m": 0.2, "centre_of_mass_m": (-0.02, 0, 0.05)}
REAR = {"name": "rear", "radius_m": 0.045, "face_m": (-0.1, 0.1, 0.045)}


def steady(tension_N: float, u_N: float = 0.0) -> PullSource:
    return PullSource("fused", np.full(2, tension_N), np.full(2, u_N), np.zeros(2), independent=True, budget=())


def test_rear_drive_gains_load_from_the_pull() -> None:
    """Same machine as the published weight transfer: rear axle 17.652 N standing, 21.402 N at a pull of 15 N."""
    machine = Machine.model_validate({**BODY, "driven_wheels": 2, "wheel": (REAR,), "hitch": {"at_m": (-0.1, 0, 0.05)}})
    found = measure_traction("plover", machine, 1, make_machine("plover", 2), make_rope(2), steady(15.0))
    assert found.traction_N == pytest.approx(15.0)
    assert found.load_N == pytest.approx(21.402, abs=5e-4)
    assert found.grip_used == pytest.approx(0.7009, abs=5e-5)


def test_traction_adds_inertia_and_lowers_load_where_the_rope_rises() -> None:
    machine = Machine.model_validate({**BODY, "driven_wheels": 4})
    moved = make_machine("plover", 2, accel_m_s2=0.5)
    found = measure_traction("plover", machine, 1, moved, make_rope(2, rise=0.1), steady(10.0))
    assert found.traction_N == pytest.approx(3.0 * 0.5 + 10.0 * np.sqrt(0.99))
    assert found.load_N == pytest.approx(3.0 * G - 1.0)


def test_uncertainty_of_grip_used_counts_shared_inputs_once() -> None:
    """With four driven wheels on the level only tension, acceleration and mass count."""
    machine = Machine.model_validate({**BODY, "driven_wheels": 4, "u_mass_kg": 0.03})
    found = measure_traction("plover", machine, 1, make_machine("plover", 2), make_rope(2), steady(10.0, 0.4))
    weight_N = 3.0 * G
    # At rest mass enters by the load alone.
    expected = 10.0 / weight_N * np.hypot(np.hypot(0.4, 3.0 * 0.02) / 10.0, 0.01)
    assert found.u_grip_used == pytest.approx(expected, rel=1e-3)


def test_unknown_driven_axle_is_refused() -> None:
    with pytest.raises(CannotMeasure, match="not which"):
        driven_axle(Machine.model_validate({**BODY, "driven_wheels": 2}))
    with pytest.raises(CannotMeasure, match="no driven wheels"):
        driven_axle(Machine.model_validate(BODY))
