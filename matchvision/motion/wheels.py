"""Wheels' turning from the marks on their rims, and slip."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from matchvision.mechanics.traction import travel_reduction
from matchvision.motion.machines import Pose, rate_spread_from_camera
from matchvision.motion.rims import (
    WILD_MARK_M,
    RimPlaces,
    find_face_middle,
    place_rim,
    scatter_of_marks,
    turning_angles,
)
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import SlowNoise, smooth_series
from matchvision.motion.together import smooth_together
from matchvision.records.motion import MachineMotion, WheelMotion
from matchvision.records.sheet import Wheel
from matchvision.records.tracks import Tracks

FloatArray = npt.NDArray[np.float64]

#: A wheel that slips faster than this trembles against the ground [m/s] …
TREMBLING_SLIP_M_S = 0.030
#: … by so much (standard deviation), faster than frames of common noise can show [m/s]; its machine by so much.
U_TREMBLE_M_S = 0.0045
U_MACHINE_TREMBLE_M_S = 0.002
#: A slip ratio less certain than this is left empty.
LARGEST_U_SLIP_RATIO = 0.1


def unwrap_turns(angle_rad: FloatArray, real_s: FloatArray) -> FloatArray:
    """Whole turns added, so that each angle lies nearest to where the rate so far would carry it; NaN stay NaN.

    The rate carried on is the median over the last five steps. It may change by half a turn per step between values.
    """
    result = np.array(angle_rad, dtype=np.float64)
    at = np.flatnonzero(np.isfinite(result))
    rates: list[float] = []
    for before, now in pairwise(at):
        step_s = real_s[now] - real_s[before]
        expected = result[before] + (float(np.median(rates[-5:])) if rates else 0.0) * step_s
        result[now] = expected + np.angle(np.exp(1j * (angle_rad[now] - expected)))
        rates.append(float((result[now] - result[before]) / step_s))
    return result


def split_errors(
    rim: RimPlaces, circle_m: FloatArray, middle: tuple[float, float], u_raw: FloatArray, real_s: FloatArray
) -> tuple[FloatArray, SlowNoise]:
    """What of the angle's errors [rad] is new in every frame, and what goes together over frames.

    As large as the marks' distances from their circle show; as stated, and nothing slow, where too few show.
    """
    scatter = scatter_of_marks(rim, circle_m, middle, real_s)
    if scatter is None:
        return u_raw, SlowNoise(0.0, 1.0)
    good = rim.seen & np.isfinite(rim.variance).all(axis=(2, 3))
    stated = np.sqrt(0.5 * np.median(np.trace(rim.variance, axis1=2, axis2=3)[good]))
    at_once = good.sum(axis=1)
    several = float(np.mean(at_once[at_once > 0]))
    slow = scatter.slow.u / float(np.mean(circle_m)) / np.sqrt(several)
    return u_raw * scatter.u_fast_m / stated, SlowNoise(slow, scatter.slow.memory_s)


def measure_wheel(
    pose: Pose, wheel: Wheel, tracks: Tracks, sighting: Sighting, real_s: FloatArray
) -> tuple[WheelMotion, RimPlaces, float] | None:
    """A wheel's turning and slip, its marks' places, and the spread of the marks about their circle [m].

    Notes
    -----
    Slip speed = rate · radius − speed along the drive direction, smoothed as the distance run ahead of the ground; slip
    ratio = slip speed / (rate · radius) = 1 − v / (rate · radius), travel reduction as in ASABE S296. While the wheel
    slips, `U_TREMBLE_M_S` is part of the uncertainty: sliding contact jumps between frames, by less than places show.
    Checked by: tests/motion/test_wheels.py::test_slip_of_sample_clip
    """
    rim = place_rim(pose, wheel, tracks, sighting)
    if rim is None:
        return None
    plans = [tracks.plans[i] for i in rim.columns]
    circle = np.array([p.circle_m for p in plans])
    middle = find_face_middle(rim, circle)
    raw, u_raw = turning_angles(rim, plans, middle)
    off = np.hypot(rim.along_m - middle[0], rim.up_m - middle[1]) - circle
    off = off[np.isfinite(off) & (np.abs(off) < WILD_MARK_M)]
    spread_m = float(np.sqrt(np.mean(off**2))) if len(off) else float("nan")
    turned = unwrap_turns(raw, real_s)
    u_raw, slow = split_errors(rim, circle, middle, u_raw, real_s)
    slow = SlowNoise(slow.u * wheel.radius_m, slow.memory_s)
    # How far the surface has run ahead of the ground is smoothed as one series: a wheel that grips shakes with its
    # machine, so the difference of two smoothed speeds would be less sure than it is.
    travel, u_travel = pose.travel_along_drive(real_s)
    way, u_way = wheel.radius_m * turned, wheel.radius_m * u_raw
    ahead = smooth_series(real_s, way - travel, np.hypot(u_way, u_travel), slow=slow)
    both = smooth_together(real_s, (travel, u_travel), (way, u_way), pose.along, ahead, slow)
    first = np.flatnonzero(np.isfinite(both.surface_m))
    zero = both.surface_m[first[0]] if len(first) else np.nan
    c, s = np.cos(pose.heading.value), np.sin(pose.heading.value)
    scale = rate_spread_from_camera(pose.camera_jacobian, sighting.covariance, real_s)
    common = c**2 * scale[:, 0, 0] + 2 * c * s * scale[:, 0, 1] + s**2 * scale[:, 1, 1]
    surface, u_surface = both.surface_m_s, both.u_surface_m_s
    slip = both.ahead_m_s
    trembling = np.where(np.abs(slip) > TREMBLING_SLIP_M_S, U_TREMBLE_M_S, 0.0)
    u_slip = np.sqrt(both.u_ahead_m_s**2 + common + trembling**2)
    turns = np.abs(surface) > 2 * u_surface
    below = np.where(turns, surface, np.nan)
    ratio = travel_reduction(below - slip, below)
    u_ratio = np.hypot(u_slip / below, slip * u_surface / below**2)
    clear = u_ratio <= LARGEST_U_SLIP_RATIO
    wheel_motion = WheelMotion(
        machine=pose.machine,
        wheel=wheel.name,
        radius_m=wheel.radius_m,
        driven=wheel.driven,
        angle_rad=(both.surface_m - zero) / wheel.radius_m,
        rate_rad_s=surface / wheel.radius_m,
        surface_speed_m_s=surface,
        slip_speed_m_s=slip,
        slip_ratio=np.where(clear, ratio, np.nan),
        u_angle_rad=both.u_surface_m / wheel.radius_m,
        u_rate_rad_s=u_surface / wheel.radius_m,
        u_surface_speed_m_s=u_surface,
        u_slip_speed_m_s=u_slip,
        u_slip_ratio=np.where(clear, u_ratio, np.nan),
    )
    return wheel_motion, rim, spread_m


def allow_for_trembling(machine: MachineMotion, wheels: Sequence[WheelMotion]) -> MachineMotion:
    """The machine's motion, less sure of its speed while one of its wheels slips."""
    slipping = np.zeros(len(machine.speed_m_s), dtype=np.bool_)
    for wheel in wheels:
        if wheel.machine == machine.machine:
            slipping |= np.abs(np.nan_to_num(wheel.slip_speed_m_s)) > TREMBLING_SLIP_M_S
    return replace(machine, u_speed_m_s=np.hypot(machine.u_speed_m_s, np.where(slipping, U_MACHINE_TREMBLE_M_S, 0.0)))
