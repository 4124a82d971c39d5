"""Wheels' turning from the marks on their rims, and slip."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from matchvision.arrays import BoolArray, FloatArray
from matchvision.mechanics.match import SLIP_SPEED_M_S
from matchvision.mechanics.traction import travel_reduction
from matchvision.motion.bodyfit import LEAST_FAST_RATIO
from matchvision.motion.faces import find_face, straighten
from matchvision.motion.machines import Pose, rate_spread_from_camera
from matchvision.motion.rims import (
    WILD_MARK_M,
    RimPlaces,
    errors_of_marks,
    place_rim,
    scatter_of_marks,
    turning_angles,
)
from matchvision.motion.scatter import NO_SLOW_NOISE, SLOW_LAG_S
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import SlowNoise, smooth_series
from matchvision.motion.together import Lasting, smooth_together
from matchvision.motion.turns import count_turns, fastest_rate, pattern_turn
from matchvision.records.motion import MachineMotion, WheelMotion
from matchvision.records.sheet import Drive, Wheel
from matchvision.records.tracks import MarkerPlan, Tracks

#: A wheel that slips faster than `SLIP_SPEED_M_S` trembles against the ground by so much (standard deviation), faster
#: than frames of common noise can show [m/s]; its machine by so much.
U_TREMBLE_M_S = 0.0035
U_MACHINE_TREMBLE_M_S = 0.002
#: A gripping wheel's way may be more or less than its travel by so much: rubber creeps by some hundredths as it pulls,
#: and a radius read with a rule is not quite the one on which a tread rolls.
U_CREEP_RATIO = 0.02
#: A compressed picture may show a wheel's turning late or early, by up to about half a frame: a coder carries small
#: parts along with what is around them until the difference is worth its bits. Rectangular.
U_LATE_FRAMES = 0.5 / np.sqrt(3)
#: A wheel that turns by this many standard uncertainties within `SLOW_LAG_S` surely turns.
SURELY = 3.0
#: Steps for derivatives by the numbers of a wheel's face.
FACE_STEPS = np.array([1e-4, 1e-4, 1e-3, 1e-3, 1e-3])
#: A lasting error that moves a wheel's way about by less than this (standard deviation) counts as none [m].
LEAST_LASTING_M = 0.00002
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
    rim: RimPlaces,
    plans: list[MarkerPlan],
    u_stated: FloatArray,
    turns: BoolArray,
    real_s: FloatArray,
) -> tuple[FloatArray, SlowNoise]:
    """What of the angle's errors [rad] is new in every frame (n,), and what goes together over frames.

    As large as the marks show against each other, while they turn and while they stand apart: a compressed picture
    carries a wheel along with its machine, and its marks stay behind. As stated, and nothing slow, where too few show.
    ``u_stated`` is the angle's stated uncertainty; ``turns`` as of `turning_frames`.
    """
    good = rim.seen & np.isfinite(rim.variance).all(axis=(2, 3))
    scatter = scatter_of_marks(errors_of_marks(rim, plans), turns, real_s)
    if scatter is None or not good.any():
        return u_stated, NO_SLOW_NOISE
    u_fast_m, slow = scatter
    stated_m = float(np.sqrt(0.5 * np.median(np.trace(rim.variance, axis1=2, axis2=3)[good])))
    at_once = good.sum(axis=1)
    several = float(np.mean(at_once[at_once > 0]))
    circle_m = float(np.mean([p.circle_m for p in plans]))
    new = np.maximum(u_fast_m / stated_m, LEAST_FAST_RATIO)
    return u_stated * new, replace(slow, u=slow.u / circle_m / np.sqrt(several))


def turning_frames(turned: FloatArray, u_turned: FloatArray, real_s: FloatArray) -> BoolArray:
    """Frames (n,) in which a wheel surely turns, over `SLOW_LAG_S` about them; where nothing is known it may."""
    n = len(real_s)
    known = np.flatnonzero(np.isfinite(turned))
    if len(known) < 2:
        return np.ones(n, dtype=np.bool_)
    after = np.interp(real_s + SLOW_LAG_S / 2, real_s[known], turned[known])
    before = np.interp(real_s - SLOW_LAG_S / 2, real_s[known], turned[known])
    return np.asarray(np.abs(after - before) > SURELY * np.sqrt(2) * float(np.nanmedian(u_turned)))


def left_behind(turns: BoolArray, slow: SlowNoise) -> float:
    """What of the marks' scatter only turning brings: 1 where nothing tells, 0 where they scatter as while they stand.

    A coder that shows a turning wheel late leaves its marks behind, now more, now less, and so shows itself.
    """
    if slow.share is None or turns.all() or not turns.any() or np.ptp(slow.share) == 0:
        return 1.0
    standing, turning = (float(np.median(slow.share[part])) for part in (~turns, turns))
    return float(np.sqrt(max(0.0, 1.0 - (standing / turning) ** 2)))


def lasting_errors(
    travel_m: FloatArray,
    speed_m_s: FloatArray,
    surface_m_s: FloatArray,
    by_face: FloatArray,
    face_covariance: FloatArray,
    u_late_s: float,
) -> Lasting:
    """What may be wrong with a wheel's way in the same manner throughout a clip.

    A gripping wheel creeps, or rolls on another radius than stated: its way grows with the travel. Its marks are coded
    late, so the way is behind by its own speed. And the face is known as well as it was found. How large each is comes
    out of the smoothing, with the rest.

    Parameters
    ----------
    travel_m, speed_m_s, surface_m_s : (n,) float arrays
        Of the ground under the wheel, and the speed of the wheel's surface.
    by_face : (n, k) float array
        How the way moves with the numbers of the face.
    u_late_s : float
        How late the marks may be shown.

    Notes
    -----
    Checked by: tests/derived/test_lasting_errors.py::test_creep_is_slip_and_a_delay_is_none
    """
    size, axes = np.linalg.eigh(face_covariance)
    by_face = np.nan_to_num(by_face @ axes) * np.sqrt(np.maximum(size, 0.0))
    # What hardly moves the way about is not worth a state.
    by_face = by_face[:, by_face.std(axis=0) > LEAST_LASTING_M]
    only_seen = np.zeros((len(travel_m), 1 + by_face.shape[1]))
    travel_m, speed_m_s, surface_m_s = (_filled(series) for series in (travel_m, speed_m_s, surface_m_s))
    crept_m = travel_m - travel_m[0]
    return Lasting(
        seen_m=np.column_stack([crept_m, -surface_m_s, by_face]),
        ahead_m=np.column_stack([crept_m, only_seen]),
        ahead_m_s=np.column_stack([speed_m_s, only_seen]),
        u=np.array([U_CREEP_RATIO, u_late_s, *np.ones(by_face.shape[1])]),
    )


def _filled(series: FloatArray) -> FloatArray:
    """A series (n,) with straight lines over its gaps; zeros where nothing is known of it."""
    known = np.flatnonzero(np.isfinite(series))
    if len(known) == 0:
        return np.zeros_like(series)
    return np.asarray(np.interp(np.arange(len(series)), known, series[known]))


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
    Slip speed = rate · radius − speed of the ground under the wheel along the drive direction, smoothed as the distance
    run ahead of the ground; where the machine turns, a wheel that stands aside has a ground speed of its own. Slip
    ratio = slip speed / (rate · radius) = 1 − v / (rate · radius), travel reduction as in ASABE S296. While the wheel
    slips, `U_TREMBLE_M_S` is part of the uncertainty: sliding contact jumps between frames, by less than places show.
    Checked by: tests/motion/test_wheels.py::test_slip_of_sample_clip
    """
    rim = place_rim(pose, wheel, tracks, sighting)
    if rim is None:
        return None
    plans = [tracks.plans[i] for i in rim.columns]
    found = find_face(rim, plans)
    face = straighten(rim, found.numbers)
    raw, u_raw = turning_angles(face, plans)
    off = np.hypot(face.along_m, face.up_m) - np.array([p.circle_m for p in plans])
    off = off[np.isfinite(off) & (np.abs(off) < WILD_MARK_M)]
    spread_m = float(np.sqrt(np.mean(off**2))) if len(off) else float("nan")
    count = count_turns(raw, real_s, pattern_turn(plans), _fastest(pose, wheel, drives))
    turned = count.angle_rad
    turns = turning_frames(turned, u_raw, real_s)
    u_raw, slow = split_errors(face, plans, u_raw, turns, real_s)
    slow = replace(slow, u=slow.u * wheel.radius_m)
    # How far the surface has run ahead of the ground is smoothed as one series: a wheel that grips shakes with its
    # machine, so the difference of two smoothed speeds would be less sure than it is.
    travel, u_travel = pose.travel_along_drive(real_s, wheel.face_m[1])
    way, u_way = wheel.radius_m * turned, wheel.radius_m * u_raw
    ahead = smooth_series(
        real_s,
        way - travel,
        np.hypot(u_way, u_travel),
        slow=_joined(slow, pose.slow),
        least_noise_factor=1.0,
    )
    speed, _ = pose.speed_along_drive()
    others = (turning_angles(straighten(rim, found.numbers + step), plans)[0] for step in np.diag(FACE_STEPS))
    by_face = [wheel.radius_m * np.angle(np.exp(1j * (o - raw))) / s for o, s in zip(others, FACE_STEPS, strict=True)]
    lasting = lasting_errors(
        travel,
        speed,
        speed + ahead.rate,
        np.stack(by_face, axis=1),
        found.covariance,
        U_LATE_FRAMES * float(np.median(np.diff(real_s))) * left_behind(turns, slow),
    )
    both = smooth_together(
        real_s, (travel, u_travel), (way, u_way), pose.along, ahead, (pose.slow, slow), ~count.undecided, lasting,
        SLIP_SPEED_M_S,
    )  # fmt: skip
    first = np.flatnonzero(np.isfinite(both.surface_m))
    zero = both.surface_m[first[0]] if len(first) else np.nan
    c, s = np.cos(pose.heading.value), np.sin(pose.heading.value)
    scale = rate_spread_from_camera(pose.camera_jacobian, sighting.covariance, real_s)
    common = c**2 * scale[:, 0, 0] + 2 * c * s * scale[:, 0, 1] + s**2 * scale[:, 1, 1]
    slip = both.ahead_m_s
    trembles = np.abs(slip) > SLIP_SPEED_M_S
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
        slip_courses_m_s=with_common_error(both.drawn_m_s, common),
    )
    return WheelReading(wheel_motion, rim, spread_m, count.undecided)


def with_common_error(courses_m_s: FloatArray, variance: FloatArray) -> FloatArray:
    """Courses (m, n) off by an error that all frames share, of some variance (n,), another one for each course.

    They come in pairs, the second half mirrored from the first, and so do their errors.
    """
    off = np.random.default_rng(1).standard_normal((len(courses_m_s) + 1) // 2)
    both = np.concatenate([off, -off])[: len(courses_m_s)]
    return np.asarray(courses_m_s + both[:, None] * np.sqrt(variance))


def allow_for_trembling(machine: MachineMotion, wheels: Sequence[WheelMotion]) -> MachineMotion:
    """The machine's motion, less sure of its speed while one of its wheels slips."""
    slipping = np.zeros(len(machine.speed_m_s), dtype=np.bool_)
    for wheel in wheels:
        if wheel.machine == machine.machine:
            slipping |= np.abs(np.nan_to_num(wheel.slip_speed_m_s)) > SLIP_SPEED_M_S
    return replace(machine, u_speed_m_s=np.hypot(machine.u_speed_m_s, np.where(slipping, U_MACHINE_TREMBLE_M_S, 0.0)))


def _joined(first: SlowNoise, second: SlowNoise) -> SlowNoise:
    """Two slow noises as one: variances add, and the memory is that of the larger part."""
    power = first.u**2 + second.u**2
    if power <= 0:
        return first
    memory_s = (first.u**2 * first.memory_s + second.u**2 * second.memory_s) / power
    if first.share is None and second.share is None:
        return SlowNoise(float(np.sqrt(power)), memory_s)
    shares = [np.ones(1) if noise.share is None else noise.share for noise in (first, second)]
    share = np.sqrt(((first.u * shares[0]) ** 2 + (second.u * shares[1]) ** 2) / power)
    return SlowNoise(float(np.sqrt(power)), memory_s, np.asarray(share))


def _fastest(pose: Pose, wheel: Wheel, drives: Sequence[Drive | None]) -> float | None:
    """The fastest that a wheel can turn [rad/s], driven or dragged along; None where nothing is stated of its drive."""
    driven = fastest_rate(drives)
    if driven is None:
        return None
    speed = np.abs(pose.speed_along_drive()[0])
    dragged = float(np.nanmax(speed)) / wheel.radius_m if np.isfinite(speed).any() else 0.0
    return max(driven, dragged)
