"""Small motion records made up by hand, for tests of one rule at a time."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from matchvision.records.motion import MachineMotion, Motion, Places, RopeMotion, WheelMotion
from matchvision.records.sheet import HangTest, Run, RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

FloatArray = npt.NDArray[np.float64]
Values = FloatArray | float


def seconds(duration_s: float, step_s: float = 1 / 60) -> FloatArray:
    """Frame times from 0."""
    return np.arange(0.0, duration_s + step_s / 2, step_s)


def spread(values: Values, n: int) -> FloatArray:
    """A number for every frame."""
    return np.broadcast_to(np.asarray(values, dtype=np.float64), (n,)).copy()


def make_machine(name: str, n: int, **changes: Values) -> MachineMotion:
    """A machine that stands at the origin, heading +x."""
    told = {
        "x_m": 0.0, "y_m": 0.0, "speed_m_s": 0.0, "accel_m_s2": 0.0, "heading_deg": 0.0, "u_x_m": 0.0005,
        "u_y_m": 0.0005, "u_speed_m_s": 0.002, "u_accel_m_s2": 0.02, "u_heading_deg": 0.1,
    } | changes  # fmt: skip
    return MachineMotion(machine=name, **{key: spread(value, n) for key, value in told.items()})


def make_wheel(
    machine: str, n: int, *, wheel: str = "front", radius_m: float = 0.045, **changes: Values
) -> WheelMotion:
    """A driven wheel that stands and grips."""
    told = {
        "angle_rad": 0.0, "rate_rad_s": 0.0, "surface_speed_m_s": 0.0, "slip_speed_m_s": 0.0, "slip_ratio": np.nan,
        "u_angle_rad": 0.01, "u_rate_rad_s": 0.05, "u_surface_speed_m_s": 0.003, "u_slip_speed_m_s": 0.003,
        "u_slip_ratio": np.nan,
    } | changes  # fmt: skip
    series = {key: spread(value, n) for key, value in told.items()}
    return WheelMotion(machine=machine, wheel=wheel, radius_m=radius_m, driven=True, **series)


def make_rope(n: int, *, rise: float = 0.0, u_link_common_ratio: float = 0.0, **changes: Values) -> RopeMotion:
    """A taut metre of rope along x, half on each side; ``rise`` is how much the second end's machine is pulled up."""
    told = {
        "on_minus_x_m": 0.5, "on_plus_x_m": 0.5, "u_on_minus_x_m": 0.001, "u_on_plus_x_m": 0.001, "speed_m_s": 0.0,
        "u_speed_m_s": 0.002, "slack": 0.0, "crossing_arc_m": 0.5, "span_m": 1.0, "link_length_m": np.nan,
        "u_link_length_m": np.nan, "total_m": 1.0, "u_total_m": 0.001,
    } | changes  # fmt: skip
    level = float(np.sqrt(1 - rise**2))
    return RopeMotion(
        **{key: spread(value, n) for key, value in told.items()},
        u_link_common_ratio=u_link_common_ratio,
        pull_dir_x=np.tile([level, -level], (n, 1)),
        pull_dir_y=np.zeros((n, 2)),
        pull_dir_z=np.tile([-rise, rise], (n, 1)),
        longer_m=(0.0, 0.0),
    )


def make_motion(
    real_s: FloatArray,
    *,
    machines: Sequence[MachineMotion] = (),
    wheels: Sequence[WheelMotion] = (),
    rope: RopeMotion | None = None,
    beads: Mapping[str, tuple[Values, Values]] | None = None,
) -> Motion:
    """A motion record; ``beads`` gives x and y of tracked beads by name."""
    n, beads = len(real_s), beads or {}
    frame = np.arange(n, dtype=np.int64)
    plans = tuple(MarkerPlan(name, "bead", "red", 0.009) for name in beads)
    pixels = np.zeros((n, len(plans)))
    state = np.full(pixels.shape, TrackState.SEEN, dtype=np.int8)
    tracks = Tracks(plans, frame, real_s, pixels, pixels, pixels, pixels, state)
    x_m, y_m = (np.array([spread(place[k], n) for place in beads.values()]).reshape(len(plans), n).T for k in (0, 1))
    u_m = np.full(x_m.shape, 0.0005)
    places = Places(x_m, y_m, np.full(x_m.shape, 0.009), u_m, u_m)
    return Motion(frame, real_s, real_s, tracks, places, {m.machine: m for m in machines}, tuple(wheels), rope)


def make_run(
    *,
    kind: str = "match",
    machine: Mapping[str, Any] | None = None,
    rules: Mapping[str, Any] | None = None,
    rope: Mapping[str, Any] | None = None,
    forecast: Mapping[str, Any] | None = None,
    hang_test: HangTest | None = None,
    commands: Mapping[str, FloatArray] | None = None,
) -> Run:
    """A run of heron (home -x) against plover (home +x) on a metre of rope, with something changed."""
    wheels = {"home": "-x", "mass_kg": 2.5, "u_mass_kg": 0.01, "driven_wheels": 4, "hitch": {"at_m": (-0.145, 0, 0.05)}}
    sheet = RunSheet.model_validate(
        {
            "run": {"name": "invented", "kind": kind, "clip": "clip.mp4"},
            "clock": {"start_s": 0.0, "duration_s": 4.0},
            "table": {"length_m": 2.4, "width_m": 1.2},
            "rope": {"length_m": 1.0, "ends": ("heron", "plover"), **(rope or {})},
            "machine": machine or {"heron": wheels, "plover": {**wheels, "home": "+x"}},
            "rules": rules or {},
            "forecast": forecast or {},
        }
    )
    return Run(sheet=sheet, folder=Path(), hang_test=hang_test, commands=commands or {})
