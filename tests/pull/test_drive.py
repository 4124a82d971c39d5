"""The pull that a drive of known torque line gives."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.pull.along import move_along
from matchvision.pull.combining import join_alike
from matchvision.pull.drive import KnownDrive, known_drives, measure_drive
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import PullSource
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


def measure(drive: KnownDrive, motion: Motion, slope_rad: float = 0.0) -> PullSource | None:
    assert motion.rope is not None
    moved = motion.machines[drive.machine]
    return measure_drive(drive, motion, move_along(drive.home, drive.end, moved, motion.rope, slope_rad))


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
    source = measure(drive, motion)
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
    # Four wheels of 2.5e-4 kg m², unless stated, speed up with the machine.
    spinning_up_N = 4 * 2.5e-4 * (0.4 / 0.045) / 0.045
    assert tension_N == pytest.approx((0.7 - 0.09) / 0.045 - 2.5 * 0.4 - spinning_up_N)


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
    sources = [s for s in (measure(d, motion) for d in drives) if s is not None]
    joined = join_alike("drive", sources)
    assert joined is not None
    low, high = sorted(float(s.tension_N[0]) for s in sources)
    assert low < joined.tension_N[0] < high
    assert joined.u_tension_N[0] > 0.3 * (high - low)


def test_log_of_the_commands_is_used_before_the_plan() -> None:
    machine = {"heron": {**PLOVER, "home": "-x"}, "plover": {**PLOVER, "drive": MEASURED}}
    commands = {"plover": np.array([[0.0, 0.4, 0.6], [4.0, 0.4, 0.6]])}
    (drive,) = known_drives(make_run(machine=machine, commands=commands), CLOCK, T_S)
    assert drive.share_ratio == pytest.approx(0.5)
    assert drive.independent


def test_slipping_wheels_speed_up_by_their_own_rate() -> None:
    """Stated inertia 0.002 kg m² a wheel, rate rising by 8 rad/s²: 4 × 0.002 × 8 Nm less, whatever the machine does."""
    machine = {
        "heron": {**PLOVER, "home": "-x"},
        "plover": {**PLOVER, "drive": {**MEASURED, "wheel_inertia_kg_m2": 0.002}},
    }
    rate = 2.0 + 8.0 * (T_S - 0.5)
    wheel = make_wheel("plover", len(T_S), rate_rad_s=rate, slip_speed_m_s=0.2)
    body = make_machine("plover", len(T_S))
    motion = make_motion(T_S, machines=[body], wheels=[wheel], rope=make_rope(len(T_S)))
    (drive,) = known_drives(make_run(machine=machine), CLOCK, motion.clip_s)
    slipping = measure(drive, motion)
    gripping = measure(drive, replace(motion, wheels=(replace(wheel, slip_speed_m_s=0 * rate),)))
    assert slipping is not None
    assert gripping is not None
    assert (gripping.tension_N - slipping.tension_N)[10:-10] == pytest.approx(4 * 0.002 * 8.0 / 0.045)


def test_slope_takes_its_share_of_the_drive() -> None:
    """Uphill at 6° with a rope along the slope: less by m g sin 6°."""
    machine = {"heron": {**PLOVER, "home": "-x"}, "plover": {**PLOVER, "drive": MEASURED}}
    tilt = np.radians(6.0)
    n = len(T_S)
    wheel = make_wheel("plover", n, rate_rad_s=2.0)
    pulls = []
    for slope, rise in ((0.0, 0.0), (tilt, -np.sin(tilt))):
        motion = make_motion(T_S, machines=[make_machine("plover", n)], wheels=[wheel], rope=make_rope(n, rise=rise))
        (drive,) = known_drives(make_run(machine=machine), CLOCK, motion.clip_s)
        source = measure(drive, motion, slope)
        assert source is not None
        pulls.append(source.tension_N[5])
    assert pulls[0] - pulls[1] == pytest.approx(2.5 * 9.80665 * np.sin(tilt))


def test_drive_says_nothing_where_its_commands_are_not_known() -> None:
    """Before the start and after the end machines may be held; a log reaches as far as its lines."""
    machine = {"heron": {**PLOVER, "home": "-x"}, "plover": {**PLOVER, "drive": MEASURED}}
    t_s = np.array([-0.3, 0.1, 3.9, 4.2, 4.8])
    (planned,) = known_drives(make_run(machine=machine), CLOCK, t_s)
    assert np.isnan(planned.share_ratio).tolist() == [True, False, False, True, True]
    commands = {"plover": np.array([[-0.5, 0.0], [0.0, 1.0], [4.5, 0.0]])}
    (logged,) = known_drives(make_run(machine=machine, commands=commands), CLOCK, t_s)
    assert np.isnan(logged.share_ratio).tolist() == [False, False, False, False, True]
