"""A machine of several bodies, rigidly joined: its centre of mass, its yaw inertia, and how far ahead it reaches."""

import numpy as np
import pytest

from matchvision.mechanics import layout
from matchvision.mechanics.machine import Box, MachineModel
from matchvision.records.sheet import Machine

LONG = {"home": "+x", "mass_kg": 3.0, "size_m": (0.4, 0.2, 0.1)}


def model(mass_kg: float, size_m: tuple[float, float, float], centre_m: tuple[float, float, float],
          *bodies: Box) -> MachineModel:  # fmt: skip
    return MachineModel("heron", mass_kg, size_m, centre_m, (-0.2, 0.0, 0.05), 0.8, 0.8, 0.3, 0.2, bodies=bodies)


def test_inertia_of_two_bodies() -> None:
    """Two halves of a box weigh, balance and turn as the whole box."""
    whole = model(3.0, (0.4, 0.2, 0.1), (0.0, 0.0, 0.05)).yaw_inertia_kg_m2
    assert whole == pytest.approx(3.0 * (0.4**2 + 0.2**2) / 12)
    # The first half is in the middle of the frame, the second before it: together the box, moved ahead by a quarter.
    halves = model(3.0, (0.2, 0.2, 0.1), (0.1, 0.0, 0.05), Box(1.5, (0.2, 0.2, 0.1), (0.2, 0.0, 0.05)))
    assert halves.yaw_inertia_kg_m2 == pytest.approx(whole)


def test_centre_of_mass_follows_from_the_bodies() -> None:
    body = {"name": "ballast", "mass_kg": 1.0, "size_m": (0.1, 0.1, 0.1), "at_m": (0.3, 0.06, 0.2)}
    assert Machine.model_validate(LONG).middle_of_mass_m is None
    assert Machine.model_validate(LONG | {"body": [body]}).middle_of_mass_m == pytest.approx((0.1, 0.02, 0.1))
    stated = LONG | {"body": [body], "centre_of_mass_m": (0.0, 0.0, 0.04)}
    assert Machine.model_validate(stated).middle_of_mass_m == (0.0, 0.0, 0.04)


def test_what_is_foremost_meets_the_wall() -> None:
    numbers = model(3.0, (0.2, 0.2, 0.1), (0.0, 0.0, 0.05), Box(1.0, (0.1, 0.1, 0.1), (0.15, 0.1, 0.05))).numbers(1.0)
    np.testing.assert_allclose(numbers[[layout.HALF_LENGTH, layout.HALF_WIDTH]], [0.2, 0.15])
