"""The pull that a drive of known torque line gives."""

import numpy as np
import pytest

from matchvision.pull.drive import join_drives, known_drives, measure_drive
from matchvision.records.motion import MatchClock
from tests.made_motion import make_machine, make_motion, make_rope, make_run, make_wheel, seconds

T_S = seconds(1.0)
CLOCK = MatchClock(0.0, 4.0)
MEASURED = {
    "motors": 2,
    "stall_torque_Nm": {"value": 0.004, "u": 0.0001},
    "no_load_rev_min": 12000,
    "gear_ratio": 250,
    "drive_efficiency": 0.7,
    "drive_friction_Nm": 0.09,
    "throttle": ((0.0, 1.0),),
}
PLOVER = {"home": "+x", "mass_kg": 2.5, "driven_wheels": 4}


def pull_of(rate_rad_s: float, accel_m_s2: float = 0.0, *, where: str = "drive") -> tuple[float, float, bool]:
    machine = {
        "heron": {**PLOVER, "home": "-x"},
        "plover": {**PLOVER, **({"drive": MEASURED} if where == "drive" else {})},
    }
    run = make_run(machine=machine, forecast={"plover": MEASURED} if where == "forecast" else {})
    motion = make_motion(
        T_S,
        machines=[make_machine("plover", len(T_S), accel_m_s2=accel_m_s2)],
        wheels=[make_wheel("plover", len(T_S), rate_rad_s=rate_rad_s)],
        rope=make_rope(len(T_S)),
    )
    (drive,) = known_drives(run, CLOCK, motion.clip_s)
    source = measure_drive(drive, motion)
    assert source is not None
    return float(source.tension_N[5]), float(source.u_tension_N[5]), source.independent


def test_stalled_drive_pulls_with_its_stall_torque() -> None:
    """2 × 0.004 × 250 × 0.7 = 1.4 Nm over 45 mm: 31.1 N; friction may point either way while nothing turns."""
    tension_N, u_N, independent = pull_of(0.0)
    assert tension_N == pytest.approx(1.4 / 0.045)
    assert u_N > 0.09 / np.sqrt(3) / 0.045
    assert independent


def test_turning_drive_pulls_less_by_the_line_friction_and_inertia() -> None:
    free_rad_s = 12000 * np.pi / 30 / 250
    tension_N, _, _ = pull_of(free_rad_s / 2, accel_m_s2=0.4)
    assert tension_N == pytest.approx((0.7 - 0.09) / 0.045 - 2.5 * 0.4)


def test_drive_from_the_forecast_is_not_independent() -> None:
    assert not pull_of(1.0, where="forecast")[2]
    assert pull_of(1.0, where="forecast")[0] == pytest.approx(pull_of(1.0)[0])


def test_two_drives_that_differ_widen_the_uncertainty() -> None:
    machine = {"heron": {**PLOVER, "home": "-x", "drive": MEASURED}, "plover": {**PLOVER, "drive": MEASURED}}
    n = len(T_S)
    motion = make_motion(
        T_S,
        machines=[make_machine("heron", n, heading_deg=180.0), make_machine("plover", n)],
        wheels=[make_wheel("heron", n, rate_rad_s=1.0), make_wheel("plover", n, rate_rad_s=3.5)],
        rope=make_rope(n),
    )
    drives = known_drives(make_run(machine=machine), CLOCK, motion.clip_s)
    sources = [s for s in (measure_drive(d, motion) for d in drives) if s is not None]
    joined = join_drives(sources)
    low, high = sorted(float(s.tension_N[0]) for s in sources)
    assert low < joined.tension_N[0] < high
    assert joined.u_tension_N[0] > 0.3 * (high - low)


def test_log_of_the_commands_is_used_before_the_plan() -> None:
    machine = {"heron": {**PLOVER, "home": "-x"}, "plover": {**PLOVER, "drive": MEASURED}}
    commands = {"plover": np.array([[0.0, 0.4, 0.6], [4.0, 0.4, 0.6]])}
    (drive,) = known_drives(make_run(machine=machine, commands=commands), CLOCK, T_S)
    assert drive.share_ratio == pytest.approx(0.5)
    assert drive.independent
