"""The pull that a dragged weight of known friction takes."""

import numpy as np
import pytest

from matchvision.pull.load import known_loads, measure_load
from tests.made_motion import make_machine, make_rope, make_run

G = 9.80665
SLED = {"home": "+x", "mass_kg": 4.0, "u_mass_kg": 0.0, "load": {"grip_sliding": {"value": 0.3, "u": 0.01}}}
HERON = {"home": "-x", "mass_kg": 2.5, "driven_wheels": 4}


def test_steady_drag_is_the_weight_times_friction() -> None:
    (load,) = known_loads(make_run(kind="sled", machine={"heron": HERON, "plover": SLED}).sheet)
    source = measure_load(load, make_machine("plover", 3, speed_m_s=-0.1, u_accel_m_s2=0.0), make_rope(3))
    assert source.tension_N == pytest.approx(4.0 * 0.3 * G)
    assert source.u_tension_N == pytest.approx(np.hypot(4.0 * G * 0.01, 4.0 * 0.3 * 0.026 / np.sqrt(3)), rel=1e-6)


def test_speeding_up_takes_more_and_a_rising_rope_less() -> None:
    (load,) = known_loads(make_run(kind="sled", machine={"heron": HERON, "plover": SLED}).sheet)
    # Dragged away from home ever faster: speed and acceleration towards home are both negative.
    moved = make_machine("plover", 2, speed_m_s=-0.1, accel_m_s2=-0.5)
    assert measure_load(load, moved, make_rope(2)).tension_N == pytest.approx(4.0 * (0.5 + 0.3 * G))
    rising = measure_load(load, moved, make_rope(2, rise=0.2)).tension_N
    # Free body: along T·cos − μ(m g − T·sin) = m a.
    expected = 4.0 * (0.5 + 0.3 * G) / (np.sqrt(1 - 0.04) + 0.3 * 0.2)
    assert rising == pytest.approx(expected)


def test_standing_load_says_nothing_and_slack_rope_pulls_nothing() -> None:
    (load,) = known_loads(make_run(kind="sled", machine={"heron": HERON, "plover": SLED}).sheet)
    moved = make_machine("plover", 3, speed_m_s=np.array([0.0, -0.003, -0.1]))
    source = measure_load(load, moved, make_rope(3, slack=np.array([0.0, 0.0, 1.0])))
    assert np.isnan(source.tension_N[:2]).all()
    assert source.tension_N[2] == 0


def test_friction_from_the_forecast_alone_is_not_independent() -> None:
    machine = {"heron": HERON, "plover": {**SLED, "load": None}}
    run = make_run(kind="sled", machine=machine, forecast={"plover": {"grip_sliding": 0.3}})
    (load,) = known_loads(run.sheet)
    assert not load.independent
