"""Wheels' turning from the marks on their rims, and slip."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import rays
from matchvision.geometry.placing import PlanePlacing
from matchvision.mechanics.traction import travel_reduction
from matchvision.motion.machines import Pose, rate_spread_from_camera
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import smooth_series
from matchvision.records.motion import MachineMotion, WheelMotion
from matchvision.records.sheet import Wheel
from matchvision.records.tracks import MarkerPlan, Tracks

FloatArray = npt.NDArray[np.float64]

#: How far the face's middle may lie off where pose and sheet put it, in its plane [m].
U_FACE_MIDDLE_M = 0.004
#: A mark further off its circle than this is not this mark [m].
WILD_MARK_M = 0.012
#: A wheel that slips faster than this trembles against the ground [m/s] …
TREMBLING_SLIP_M_S = 0.030
#: … by so much (standard deviation), faster than frames of common noise can show [m/s]; its machine by so much.
U_TREMBLE_M_S = 0.0045
U_MACHINE_TREMBLE_M_S = 0.002
#: A slip ratio less certain than this is left empty.
LARGEST_U_SLIP_RATIO = 0.1


@dataclass(frozen=True, eq=False)
class RimPlaces:
    """Rim marks of one wheel on its face plane.

    Attributes
    ----------
    columns : marks' columns in the tracks
    placing : PlanePlacing of (n, k)
        Its own covariance holds the pixels' part and the plane's own place.
    along_m, up_m : (n, k) float arrays
        Coordinates in the face, from its middle by pose and sheet.
    variance : (n, k, 2, 2) float array
        Of (along, up), new in every frame.
    camera_jacobian : (n, k, 3, 15) float array
        Derivatives of the places by the camera, the plane moving along.
    seen : (n, k) bool array
    """

    columns: list[int]
    placing: PlanePlacing
    along_m: FloatArray
    up_m: FloatArray
    variance: FloatArray
    camera_jacobian: FloatArray
    seen: npt.NDArray[np.bool_]


def place_rim(pose: Pose, wheel: Wheel, tracks: Tracks, sighting: Sighting) -> RimPlaces | None:
    """Rim marks of a wheel on its upright face plane, which turns and travels with the machine; None without marks."""
    columns = [
        i for i, p in enumerate(tracks.plans) if p.kind == "rim" and p.machine == pose.machine and p.wheel == wheel.name
    ]
    if not columns:
        return None
    middle, middle_jacobian = pose.point_of(wheel.face_m)
    forward, left, up = pose.axes()
    normal = left if wheel.face_m[1] >= 0 else -left
    u_offset = np.sqrt(
        (normal[:, 0] * pose.along.u_value) ** 2
        + (normal[:, 1] * pose.y.u_value) ** 2
        + (wheel.face_m[0] * pose.heading.u_value) ** 2
    )
    placing = sighting.place_on(columns, middle[:, None, :], normal[:, None, :], u_offset[:, None])
    # When the camera's error moves the machine, it moves the plane, and the mark along its line of sight.
    _, direction = rays(sighting.parameters[:, None, :], sighting.pixels_px[:, columns])
    lever = direction / np.sum(direction * normal[:, None, :], axis=-1, keepdims=True)
    plane_moves = np.einsum("ni,nip->np", normal, middle_jacobian)
    shared = sighting.common(placing.camera_jacobian)
    jacobian = shared + lever[..., None] * plane_moves[:, None, None, :]
    away = placing.point_m - middle[:, None, :]
    frame = np.stack([forward, up], axis=1)
    in_face = np.einsum("nij,nkj->nki", frame, away)
    # A moving camera's pose moves mark and plane alike; what it does to the mark alone is the cautious choice.
    own = placing.cov_own + sighting.own_spread(placing.camera_jacobian)
    variance = np.einsum("nij,nkjl,nml->nkim", frame, own, frame)
    return RimPlaces(columns, placing, in_face[..., 0], in_face[..., 1], variance, jacobian, sighting.seen[:, columns])


def find_face_middle(rim: RimPlaces, circle_m: FloatArray) -> tuple[float, float]:
    """Where the circle's middle lies in the face, (along, up) [m], off the place that pose and sheet give.

    A camera error shifts pose and face; all frames share it, and marks that go round show it.

    Notes
    -----
    Gauss–Newton on the marks' distances from the middle, under a prior of `U_FACE_MIDDLE_M` about zero; distances are
    weighted by the pixels' uncertainty and by a tenth of their number for what frames have in common.
    Checked by: tests/motion/test_wheels.py::test_shifted_face_is_found
    """
    middle = np.zeros(2)
    seen = rim.seen & np.isfinite(rim.along_m) & np.isfinite(rim.variance).all(axis=(2, 3))
    if not seen.any():
        return 0.0, 0.0
    for _ in range(6):
        along, up = rim.along_m - middle[0], rim.up_m - middle[1]
        reach = np.hypot(along, up)
        unit = np.stack([along, up], axis=-1) / np.where(reach > 0, reach, 1.0)[..., None]
        off = reach - circle_m
        good = seen & (np.abs(off) < WILD_MARK_M)
        weight = 0.1 / np.einsum("nki,nkij,nkj->nk", unit, np.where(good[..., None, None], rim.variance, 1.0), unit)
        weight, unit, off = weight[good], unit[good], off[good]
        normal = (unit * weight[:, None]).T @ unit + np.eye(2) / U_FACE_MIDDLE_M**2
        right = (unit * weight[:, None]).T @ off - middle / U_FACE_MIDDLE_M**2
        middle = middle + np.linalg.solve(normal, right)
    return float(middle[0]), float(middle[1])


def turning_angles(
    rim: RimPlaces, plans: list[MarkerPlan], middle: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """How far the wheel has turned in each frame [rad], up to whole turns, and its uncertainty; NaN without a mark.

    Marks seen together are joined by weighted least squares on the circle. Driving forward carries a mark from up to
    forward: its place on the circle, counted from forward through up, falls as the wheel turns.
    """
    along, up = rim.along_m - middle[0], rim.up_m - middle[1]
    circle = np.array([p.circle_m for p in plans])
    reach = np.hypot(along, up)
    place = np.arctan2(up, along)
    turned = np.radians([p.angle_deg for p in plans]) - place
    tangent = np.stack([-np.sin(place), np.cos(place)], axis=-1)
    variance = np.einsum("nki,nkij,nkj->nk", tangent, rim.variance, tangent) / circle**2
    good = rim.seen & np.isfinite(turned) & np.isfinite(variance) & (np.abs(reach - circle) < WILD_MARK_M)
    weight = np.where(good, 1.0 / np.where(good, variance, 1.0), 0.0)
    # About the best mark's angle, so that the mean does not suffer from whole turns.
    rows = np.arange(len(turned))
    base = np.where(good, turned, 0.0)[rows, np.argmax(weight, axis=1)]
    apart = np.angle(np.exp(1j * np.where(good, turned - base[:, None], 0.0)))
    total = weight.sum(axis=1)
    some = total > 0
    safe = np.where(some, total, 1.0)
    angle = base + (weight * apart).sum(axis=1) / safe
    # Marks that contradict each other widen the result.
    spread = (weight * (apart - ((weight * apart).sum(axis=1) / safe)[:, None]) ** 2).sum(axis=1)
    widen = np.maximum(1.0, spread / np.maximum(good.sum(axis=1) - 1, 1) / 4.0)
    return np.where(some, angle, np.nan), np.where(some, np.sqrt(widen / safe), np.nan)


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
    turning = smooth_series(real_s, turned, u_raw)
    first = np.flatnonzero(np.isfinite(turning.value))
    zero = turning.value[first[0]] if len(first) else np.nan
    c, s = np.cos(pose.heading.value), np.sin(pose.heading.value)
    scale = rate_spread_from_camera(pose.camera_jacobian, sighting.covariance, real_s)
    common = c**2 * scale[:, 0, 0] + 2 * c * s * scale[:, 0, 1] + s**2 * scale[:, 1, 1]
    surface, u_surface = turning.rate * wheel.radius_m, turning.u_rate * wheel.radius_m
    # How far the surface has run ahead of the ground is smoothed as one series: a wheel that grips shakes with its
    # machine, so the difference of two smoothed speeds would be less sure than it is.
    travel, u_travel = pose.travel_along_drive(real_s)
    ahead = smooth_series(real_s, wheel.radius_m * turned - travel, np.hypot(wheel.radius_m * u_raw, u_travel))
    slip = ahead.rate
    trembling = np.where(np.abs(slip) > TREMBLING_SLIP_M_S, U_TREMBLE_M_S, 0.0)
    u_slip = np.sqrt(ahead.u_rate**2 + common + trembling**2)
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
        angle_rad=turning.value - zero,
        rate_rad_s=turning.rate,
        surface_speed_m_s=surface,
        slip_speed_m_s=slip,
        slip_ratio=np.where(clear, ratio, np.nan),
        u_angle_rad=turning.u_value,
        u_rate_rad_s=turning.u_rate,
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
