"""Marks on a wheel's rim: their places on the face, the angle, and how the places scatter."""

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import rays
from matchvision.geometry.placing import PlanePlacing
from matchvision.motion.machines import Pose
from matchvision.motion.scatter import FEWEST_FOR_SCATTER, split_scatter
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import SlowNoise
from matchvision.records.sheet import Wheel
from matchvision.records.tracks import MarkerPlan, Tracks

#: Smaller errors than this are none [m].
EXACT_M = 1e-9
#: A mark further off its circle than this is not this mark [m].
WILD_MARK_M = 0.012


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


def turning_angles(rim: RimPlaces, plans: list[MarkerPlan]) -> tuple[FloatArray, FloatArray]:
    """How far the wheel has turned in each frame [rad], up to whole turns, and its uncertainty; NaN without a mark.

    Marks seen together are joined by weighted least squares on the circle. Driving forward carries a mark from up to
    forward: its place on the circle, counted from forward through up, falls as the wheel turns.
    """
    circle = np.array([p.circle_m for p in plans])
    reach = np.hypot(rim.along_m, rim.up_m)
    place = np.arctan2(rim.up_m, rim.along_m)
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


def errors_of_marks(rim: RimPlaces, plans: list[MarkerPlan]) -> FloatArray:
    """The marks' errors (n, k) along their path [m], as large as one mark's; NaN where not seen.

    Marks of one wheel keep their angles to each other, so what these do is error, along the path: there a compressed
    picture leaves a mark behind that it hardly moves across. A mark alone has only its distance from the circle.

    Notes
    -----
    Checked by: tests/motion/test_scatter.py::test_marks_that_stay_behind_are_seen_to
    """
    circle = np.array([p.circle_m for p in plans])
    off = np.hypot(rim.along_m, rim.up_m) - circle
    good = rim.seen & (np.abs(off) < WILD_MARK_M)
    place = np.where(good, np.arctan2(rim.up_m, rim.along_m) - np.radians([p.angle_deg for p in plans]), np.nan)
    errors = [
        np.angle(np.exp(1j * (place[:, i] - place[:, j]))) * 0.5 * (circle[i] + circle[j]) / np.sqrt(2)
        for i, j in itertools.combinations(range(len(plans)), 2)
    ]
    together = np.stack(errors, axis=1) if errors else np.full((len(off), 1), np.nan)
    if (np.isfinite(together).sum(axis=0) >= FEWEST_FOR_SCATTER).any():
        return together
    return np.where(good, off, np.nan)


def scatter_of_marks(
    errors_m: FloatArray, turns: npt.NDArray[np.bool_], real_s: FloatArray
) -> tuple[FloatArray, SlowNoise] | None:
    """What of one mark's errors is new in each frame (n,) [m], and what goes together; None where too few show.

    How large they are is told apart for the frames in which the wheel ``turns`` (n,) and for those in which it stands;
    how they go together is told by all.

    Parameters
    ----------
    errors_m : (n, k) float array
        As of `errors_of_marks`.
    """
    shown = np.isfinite(errors_m).sum(axis=0) >= FEWEST_FOR_SCATTER
    if not shown.any():
        return None
    off = errors_m[:, shown] - np.nanmean(errors_m[:, shown], axis=0)
    size_m = np.full(len(off), np.sqrt(np.nanmean(off**2)))
    for part in (turns, ~turns):
        if np.isfinite(off[part]).sum() >= FEWEST_FOR_SCATTER / 2:
            size_m[part] = np.sqrt(np.nanmean(off[part] ** 2))
    # Marks without any error have no size to be divided by.
    size_m = np.maximum(size_m, EXACT_M)
    scatter = split_scatter(off / size_m[:, None], real_s)
    if scatter is None:
        return None
    largest_m = float(size_m.max())
    slow = SlowNoise(scatter.slow.u * largest_m, scatter.slow.memory_s, size_m / largest_m)
    return scatter.u_fast * size_m, slow
