"""The pull that a machine's momentum shows while its wheels slide."""

import numpy as np
import pytest

from matchvision.pull.along import move_along
from matchvision.pull.momentum import known_sliders, measure_momentum
from matchvision.records.pull import PullSource
from tests.made_motion import make_machine, make_motion, make_rope, make_run, make_wheel, seconds

G = 9.80665
T_S = seconds(0.5)
N = len(T_S)
DRIVE = {"grip_sliding": {"value": 0.6, "u": 0.03}}
BODY = {"home": "+x", "mass_kg": 3.0, "driven_wheels": 4, "drive": DRIVE}


def pull_of(
    slip_m_s: float,
    *,
    accel_m_s2: float = 0.0,
    speed_m_s: float = 0.0,
    rise: float = 0.0,
    slope_rad: float = 0.0,
    body: dict[str, object] | None = None,
) -> PullSource | None:
    machine = {"heron": {**BODY, "home": "-x", "drive": None}, "plover": body or BODY}
    moved = make_machine("plover", N, accel_m_s2=accel_m_s2, speed_m_s=speed_m_s)
    wheel = make_wheel("plover", N, slip_speed_m_s=slip_m_s)
    rope = make_rope(N, rise=rise)
    (slider,) = known_sliders(make_run(machine=machine))
    motion = make_motion(T_S, machines=[moved], wheels=[wheel], rope=rope)
    return measure_momentum(slider, motion, move_along("+x", 1, moved, rope, slope_rad))


def test_spinning_wheels_pull_with_their_grip() -> None:
    source = pull_of(0.2)
    assert source is not None
    assert source.tension_N == pytest.approx(0.6 * 3.0 * G)
    expected = np.sqrt((3.0 * G * 0.03) ** 2 + (3.0 * 0.02) ** 2 + (0.6 * 3.0 * 0.026 / np.sqrt(3)) ** 2)
    # The mass has an u of 0 here; what is left is the grip, the acceleration and gravity.
    assert source.u_tension_N == pytest.approx(expected, rel=1e-6)


def test_what_speeds_the_machine_up_is_not_in_the_rope() -> None:
    source = pull_of(0.2, accel_m_s2=0.5)
    assert source is not None
    assert source.tension_N == pytest.approx(3.0 * (0.6 * G - 0.5))


def test_locked_wheels_that_are_dragged_back_hold_with_their_grip() -> None:
    """Wheels stand, the machine goes back: their surface is faster than the ground, so the ground holds it forward."""
    source = pull_of(0.3, speed_m_s=-0.3)
    assert source is not None
    assert source.tension_N == pytest.approx(0.6 * 3.0 * G)


def test_rising_rope_unloads_the_wheels_and_a_slope_takes_its_share() -> None:
    rising = pull_of(0.2, rise=0.1)
    assert rising is not None
    assert rising.tension_N == pytest.approx(0.6 * 3.0 * G / (np.sqrt(0.99) + 0.6 * 0.1))
    tilt = np.radians(5.0)
    uphill = pull_of(0.2, slope_rad=tilt, rise=-np.sin(tilt))
    assert uphill is not None
    assert uphill.tension_N == pytest.approx(3.0 * G * (0.6 * np.cos(tilt) - np.sin(tilt)))


def test_rear_drive_takes_the_load_that_its_own_pull_shifts() -> None:
    """Closed form of the grip-limited pull: μ W b / (L − μ h), b from the front axle to the centre of mass."""
    rear = {"name": "rear", "radius_m": 0.045, "face_m": (-0.1, 0.1, 0.045)}
    body = {
        **BODY,
        "driven_wheels": 2,
        "wheel": (rear,),
        "wheelbase_m": 0.2,
        "centre_of_mass_m": (-0.02, 0, 0.05),
        "hitch": {"at_m": (-0.1, 0, 0.05)},
    }
    source = pull_of(0.2, body=body)
    assert source is not None
    assert source.tension_N == pytest.approx(0.6 * 3.0 * G * 0.12 / (0.2 - 0.6 * 0.05))


def test_gripping_wheels_say_nothing() -> None:
    assert pull_of(0.02) is None


def test_grip_from_the_forecast_alone_is_not_independent() -> None:
    machine = {"heron": {**BODY, "home": "-x", "drive": None}, "plover": {**BODY, "drive": None}}
    (slider,) = known_sliders(make_run(machine=machine, forecast={"plover": DRIVE}))
    assert not slider.independent
