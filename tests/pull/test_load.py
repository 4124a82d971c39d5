"""The pull that a dragged weight of known friction takes."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.pull import measure_pull
from matchvision.pull.along import move_along, slope_under
from matchvision.pull.load import known_loads, measure_hanging, measure_load
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


def test_load_that_sticks_and_slips_says_nothing() -> None:
    (load,) = known_loads(make_run(kind="sled", machine={"heron": HERON, "plover": SLED}).sheet)
    times = seconds(1.0)
    goes, slips = times < 0.5, (times > 0.7) & (times < 0.95)
    moved = make_machine("plover", len(times), speed_m_s=np.where(goes | slips, -0.1, 0.0), accel_m_s2=-0.5)
    source = measure_load(load, moved, make_rope(len(times)), 0.0, times)
    assert np.isfinite(source.tension_N).tolist() == goes.tolist()


def test_load_astride_a_bend_has_no_slope() -> None:
    run = make_run(kind="sled", machine={"heron": HERON, "plover": {**SLED, "size_m": [0.3, 0.2, 0.1]}})
    (load,) = known_loads(run.sheet)
    table = run.sheet.table.model_copy(update={"profile_m": ((-1.0, -0.1), (0.0, 0.0), (1.0, -0.1))})
    slope = slope_under(load.reach_m, table, np.array([-0.5, -0.1, 0.5]))
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


def test_sloping_table_takes_its_share_of_load_and_traction() -> None:
    flat = make_run(kind="sled", machine={"heron": HERON, "plover": {**SLED, "size_m": [0.3, 0.2, 0.1]}})
    table = flat.sheet.table.model_copy(update={"profile_m": ((-1.2, -0.12), (0.0, 0.0), (1.2, -0.12))})
    ridge = replace(flat, sheet=flat.sheet.model_copy(update={"table": table}))
    t_s = seconds(1.0)
    moved = [
        make_machine("plover", len(t_s), speed_m_s=-0.1, x_m=0.6),
        make_machine("heron", len(t_s), speed_m_s=0.1, x_m=-0.6, heading_deg=180.0),
    ]
    motion = make_motion(t_s, machines=moved, rope=make_rope(len(t_s)))
    clock = MatchClock(0.0, 1.0)
    level, sloped = measure_pull(flat, motion, clock)[0], measure_pull(ridge, motion, clock)[0]
    # Heron drives down to its end of the ridge: its weight pulls along, and presses less.
    tilt = np.arctan(0.1)
    (on_level,), (on_slope,) = level.traction, sloped.traction
    pull_N = np.nanmedian(sloped.sources[-1].tension_N)
    along_N = pull_N * np.cos(tilt) - 2.5 * G * np.sin(tilt)
    assert np.nanmedian(on_slope.traction_N) == pytest.approx(along_N, rel=1e-6)
    assert np.nanmedian(on_slope.load_N) == pytest.approx(2.5 * G * np.cos(tilt) + pull_N * np.sin(tilt), rel=1e-6)
    assert np.nanmedian(on_level.load_N) == pytest.approx(2.5 * G)
    uphill = 4.0 * G * (0.3 * np.cos(np.arctan(0.1)) + np.sin(np.arctan(0.1)))
    inertia = sloped.source("inertia")
    assert inertia is not None
    # The rope is level here, so a little of its pull presses the load onto the slope.
    assert np.nanmedian(inertia.tension_N) == pytest.approx(uphill, rel=0.04)


def test_hanging_weight_pulls_with_its_weight_and_what_speeds_it_up() -> None:
    """Lifted: m (g + a), and the pulley's loss on top; let down: without it; at rest: either."""
    weight = {"home": "+x", "mass_kg": 2.0, "u_mass_kg": 0.004, "load": {"hangs": True, "pulley_loss_ratio": 0.03}}
    run = make_run(kind="lift", machine={"heron": HERON, "weight": weight}, rope={"ends": ("heron", "weight")})
    (load,) = known_loads(run.sheet)
    speed = np.array([0.1, -0.1, 0.0])
    moved = make_machine("heron", 3, speed_m_s=speed, accel_m_s2=0.4, heading_deg=180.0, u_accel_m_s2=0.0)
    source = measure_hanging(load, "heron", move_along("-x", 0, moved, make_rope(3), 0.0), np.zeros(3))
    assert source.tension_N == pytest.approx(2.0 * (G + 0.4) * np.array([1.03, 0.97, 1.0]))
    mass_N, gravity_N = 0.004 * (G + 0.4), 2.0 * 0.026 / np.sqrt(3)
    assert source.u_tension_N[0] == pytest.approx(1.03 * np.hypot(mass_N, gravity_N), rel=1e-6)
    assert source.u_tension_N[2] == pytest.approx(
        np.sqrt(mass_N**2 + gravity_N**2 + (2.0 * (G + 0.4) * 0.03 / np.sqrt(3)) ** 2), rel=1e-6
    )


def test_cart_that_nobody_drives_resists_by_its_rolling() -> None:
    cart = {
        "home": "+x",
        "mass_kg": 4.0,
        "driven_wheels": 0,
        "drive": {"rolling_resistance": {"value": 0.02, "u": 0.002}},
    }
    (load,) = known_loads(make_run(kind="sled", machine={"heron": HERON, "plover": cart}).sheet)
    source = measure_load(load, make_machine("plover", 3, speed_m_s=-0.1, accel_m_s2=-0.3), make_rope(3))
    assert source.tension_N == pytest.approx(4.0 * (0.3 + 0.02 * G))
