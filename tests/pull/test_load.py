"""The pull that a dragged weight of known friction takes."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.pull import measure_pull
from matchvision.pull.load import known_loads, measure_load, slope_under
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, make_motion, make_rope, make_run, seconds

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


def test_uphill_takes_more_and_downhill_less() -> None:
    """Along the slope: T = m a + μ m g cos θ + m g sin θ, the rope running along the slope as well."""
    (load,) = known_loads(make_run(kind="sled", machine={"heron": HERON, "plover": SLED}).sheet)
    tilt = np.radians(6.0)
    moved = make_machine("plover", 2, speed_m_s=-0.1, accel_m_s2=-0.5)
    for slope, climbing in ((tilt, -1), (-tilt, 1)):
        # It is dragged towards -x: a slope that rises towards +x leads down. The rope rises or falls with it.
        rope = make_rope(2, rise=climbing * np.sin(tilt))
        expected = 4.0 * (0.5 + 0.3 * G * np.cos(tilt) + climbing * G * np.sin(tilt))
        assert measure_load(load, moved, rope, slope).tension_N == pytest.approx(expected, rel=1e-9)


def test_load_astride_a_bend_has_no_slope() -> None:
    run = make_run(kind="sled", machine={"heron": HERON, "plover": {**SLED, "size_m": [0.3, 0.2, 0.1]}})
    (load,) = known_loads(run.sheet)
    table = run.sheet.table.model_copy(update={"profile_m": ((-1.0, -0.1), (0.0, 0.0), (1.0, -0.1))})
    slope = slope_under(load, table, np.array([-0.5, -0.1, 0.5]))
    assert slope[[0, 2]] == pytest.approx([np.arctan(0.1), -np.arctan(0.1)])
    assert np.isnan(slope[1])
    moved = make_machine("plover", 3, speed_m_s=-0.1)
    assert np.isnan(measure_load(load, moved, make_rope(3), slope).tension_N[1])


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


def test_sloping_table_leaves_out_what_needs_the_weight_along_it() -> None:
    flat = make_run(kind="sled", machine={"heron": HERON, "plover": {**SLED, "size_m": [0.3, 0.2, 0.1]}})
    table = flat.sheet.table.model_copy(update={"profile_m": ((-1.2, -0.12), (0.0, 0.0), (1.2, -0.12))})
    ridge = replace(flat, sheet=flat.sheet.model_copy(update={"table": table}))
    t_s = seconds(1.0)
    moved = [
        make_machine(name, len(t_s), speed_m_s=v, x_m=x) for name, v, x in (("plover", -0.1, 0.6), ("heron", 0.1, -0.6))
    ]
    motion = make_motion(t_s, machines=moved, rope=make_rope(len(t_s)))
    clock = MatchClock(0.0, 1.0)
    level, sloped = measure_pull(flat, motion, clock)[0], measure_pull(ridge, motion, clock)[0]
    assert level.traction
    assert sloped.traction == ()
    assert any("sloping table" in line for line in sloped.left_out)
    uphill = 4.0 * G * (0.3 * np.cos(np.arctan(0.1)) + np.sin(np.arctan(0.1)))
    inertia = sloped.source("inertia")
    assert inertia is not None
    # The rope is level here, so a little of its pull presses the load onto the slope.
    assert np.nanmedian(inertia.tension_N) == pytest.approx(uphill, rel=0.04)
