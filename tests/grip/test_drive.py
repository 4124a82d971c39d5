"""Drive that goes missing in mid-run."""

import numpy as np
import pytest

from matchvision.grip.drive import drive_share, find_drive_loss, find_side_loss
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from matchvision.records.pull import Traction
from tests.made_motion import FloatArray, make_machine, make_motion, make_run, make_wheel, seconds

T_S = seconds(5.0)
N = len(T_S)
CLOCK = MatchClock(0.5, 4.5)
DRIVE = {
    "motors": 2, "stall_torque_Nm": 0.0035, "no_load_rev_min": 12000.0, "gear_ratio": 250.0, "drive_efficiency": 0.72,
    "drive_friction_Nm": 0.09, "throttle": ((0.0, 1.0), (5.0, 1.0)),
}  # fmt: skip
STALL_NM, FREE_RAD_S = 2 * 0.0035 * 250 * 0.72, 12000 * 2 * np.pi / 60 / 250


def events_of(left_over: FloatArray, seed: int = 1) -> list[Event]:
    """A machine at a steady 1.5 rad/s, whose drive gives ``left_over`` of its motor line."""
    run = make_run(forecast={"heron": DRIVE})
    torque = left_over * STALL_NM * (1 - 1.5 / FREE_RAD_S) - 0.09
    noise = np.random.default_rng(seed).standard_normal(N)
    force = torque / 0.045 + 0.3 * noise
    traction = Traction(
        "heron", force, np.full(N, 20.0), force / 20, np.full(N, 0.3), np.full(N, 0.1), np.full(N, 0.02)
    )
    wheel = make_wheel("heron", N, rate_rad_s=1.5)
    motion = make_motion(T_S, machines=[make_machine("heron", N)], wheels=[wheel])
    share = drive_share(run, motion, traction, CLOCK)
    assert share is not None
    return find_drive_loss(share, T_S, CLOCK)


def test_half_the_drive_is_missed() -> None:
    (event,) = events_of(np.where(T_S < 2.8, 1.0, 0.5))
    assert (event.kind, event.machine) == ("drive-loss", "heron")
    assert event.start_s == pytest.approx(2.3, abs=0.05)
    given = float(event.evidence.split("gave ")[1].split()[0])
    assert given == pytest.approx(50.0, abs=1.0)


def test_drive_that_is_weak_all_along_or_slackens_slowly_is_no_loss() -> None:
    for seed in range(5):
        assert not events_of(np.full(N, 0.6), seed)
        assert not events_of(np.full(N, 1.0), seed)
        assert not events_of(1.0 - 0.1 * T_S, seed)


def test_side_that_stops_is_named() -> None:
    wheels = [{"name": side, "radius_m": 0.045, "face_m": (0.0, y, 0.045)} for side, y in (("l", 0.117), ("r", -0.117))]
    machine = {"heron": {"home": "+x", "mass_kg": 2.5, "wheel": wheels}, "plover": {"home": "-x"}}
    run = make_run(machine=machine)
    speeds = {"l": np.where(T_S < 3.0, 0.1, 0.0), "r": np.full(N, 0.1)}
    turning = [make_wheel("heron", N, wheel=name, surface_speed_m_s=speed) for name, speed in speeds.items()]
    heading = 20.0 * np.maximum(T_S - 3.0, 0.0)
    motion = make_motion(T_S, machines=[make_machine("heron", N, heading_deg=heading)], wheels=turning)
    (event,) = find_side_loss(run, motion, motion.machines["heron"], CLOCK)
    assert event.start_s == pytest.approx(2.5, abs=0.05)
    assert "on the left" in event.evidence
    assert "to the left" in event.evidence
