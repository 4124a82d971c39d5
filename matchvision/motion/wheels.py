"""Wheels' turning from the marks on their rims, and slip."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

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
from matchvision.motion.turns import count_turns, fastest_rate, pattern_turn
from matchvision.records.motion import MachineMotion, WheelMotion
from matchvision.records.sheet import Drive, Wheel
from matchvision.records.tracks import Tracks

FloatArray = npt.NDArray[np.float64]

#: A wheel that slips faster than this trembles against the ground [m/s] …
TREMBLING_SLIP_M_S = 0.030
#: … by so much (standard deviation), faster than frames of common noise can show [m/s]; its machine by so much.
U_TREMBLE_M_S = 0.0035
U_MACHINE_TREMBLE_M_S = 0.002
#: A slip ratio less certain than this is left empty.
LARGEST_U_SLIP_RATIO = 0.1


@dataclass(frozen=True, eq=False)
class WheelReading:
    """A wheel's motion and what it rests on.

    Attributes
    ----------
    rim : its marks' places
    spread_m : how far the marks lie off their circle (root mean square)
    undecided : (n,) bool array
        Frames in which the marks were seen, but the rate could be any of several.
    """

    motion: WheelMotion
    rim: RimPlaces
    spread_m: float
    undecided: npt.NDArray[np.bool_]


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
    return u_raw * scatter.u_fast / stated, SlowNoise(slow, scatter.slow.memory_s)


def measure_wheel(
    pose: Pose,
    wheel: Wheel,
    tracks: Tracks,
    sighting: Sighting,
    real_s: FloatArray,
    drives: Sequence[Drive | None] = (),
) -> WheelReading | None:
    """A wheel's turning and slip; None where it has no marks.

    ``drives``: what is stated of its drive, which says how fast it can turn.

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
    count = count_turns(raw, real_s, pattern_turn(plans), _fastest(pose, wheel, drives))
    turned = count.angle_rad
    u_raw, slow = split_errors(rim, circle, middle, u_raw, real_s)
    slow = SlowNoise(slow.u * wheel.radius_m, slow.memory_s)
    # How far the surface has run ahead of the ground is smoothed as one series: a wheel that grips shakes with its
    # machine, so the difference of two smoothed speeds would be less sure than it is.
    travel, u_travel = pose.travel_along_drive(real_s)
    way, u_way = wheel.radius_m * turned, wheel.radius_m * u_raw
    ahead = smooth_series(real_s, way - travel, np.hypot(u_way, u_travel), slow=_joined(slow, pose.slow))
    both = smooth_together(
        real_s, (travel, u_travel), (way, u_way), pose.along, ahead, (pose.slow, slow), ~count.undecided
    )
    first = np.flatnonzero(np.isfinite(both.surface_m))
    zero = both.surface_m[first[0]] if len(first) else np.nan
    c, s = np.cos(pose.heading.value), np.sin(pose.heading.value)
    scale = rate_spread_from_camera(pose.camera_jacobian, sighting.covariance, real_s)
    common = c**2 * scale[:, 0, 0] + 2 * c * s * scale[:, 0, 1] + s**2 * scale[:, 1, 1]
    slip = both.ahead_m_s
    trembles = np.abs(slip) > TREMBLING_SLIP_M_S
    u_slip = np.sqrt(both.u_ahead_m_s**2 + common + np.where(trembles, U_TREMBLE_M_S, 0.0) ** 2)
    # What of the trembling is not the machine's is the wheel's.
    wheel_trembles = np.where(trembles, np.sqrt(U_TREMBLE_M_S**2 - U_MACHINE_TREMBLE_M_S**2), 0.0)
    surface, u_surface = both.surface_m_s, np.hypot(both.u_surface_m_s, wheel_trembles)
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
    return WheelReading(wheel_motion, rim, spread_m, count.undecided)


def _joined(first: SlowNoise, second: SlowNoise) -> SlowNoise:
    """Two slow noises as one: variances add, and the memory is that of the larger part."""
    power = first.u**2 + second.u**2
    if power <= 0:
        return first
    memory_s = (first.u**2 * first.memory_s + second.u**2 * second.memory_s) / power
    return SlowNoise(float(np.sqrt(power)), memory_s)


def _fastest(pose: Pose, wheel: Wheel, drives: Sequence[Drive | None]) -> float | None:
    """The fastest that a wheel can turn [rad/s], driven or dragged along; None where nothing is stated of its drive."""
    driven = fastest_rate(drives)
    if driven is None:
        return None
    speed = np.abs(pose.speed_along_drive()[0])
    dragged = float(np.nanmax(speed)) / wheel.radius_m if np.isfinite(speed).any() else 0.0
    return max(driven, dragged)


def allow_for_trembling(machine: MachineMotion, wheels: Sequence[WheelMotion]) -> MachineMotion:
    """The machine's motion, less sure of its speed while one of its wheels slips."""
    slipping = np.zeros(len(machine.speed_m_s), dtype=np.bool_)
    for wheel in wheels:
        if wheel.machine == machine.machine:
            slipping |= np.abs(np.nan_to_num(wheel.slip_speed_m_s)) > TREMBLING_SLIP_M_S
    return replace(machine, u_speed_m_s=np.hypot(machine.u_speed_m_s, np.where(slipping, U_MACHINE_TREMBLE_M_S, 0.0)))
