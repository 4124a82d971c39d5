"""Which spot is which marker of a machine: by what a rigid body must keep."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import place_on_plane, project_points, rays, rotation_matrix
from matchvision.markers.blobs import Blobs
from matchvision.markers.colours import Palette
from matchvision.markers.poses import Pose, Profile, place_above, pose_from_pair, stand
from matchvision.records.camera import Camera
from matchvision.records.sheet import Machine, RunSheet
from matchvision.records.tracks import MarkerPlan

#: Two markers of a body may seem this much further apart or closer than the sheet says [m] and [share].
DISTANCE_SLACK_M = 0.008
DISTANCE_SLACK_RATIO = 0.04
#: How well a spot's middle is known on the first look [px], and the distance beyond which it is not the marker.
U_SPOT_PX = 2.0
GATE = 2.3
#: Cost of a marker that is not seen, and of what cannot be.
_COST_MISSED = 8.0
_NEVER = 1e6
#: A rim mark may lie so far off its circle [share of the circle's radius] before it is not one.
CIRCLE_SLACK_RATIO = 0.30
#: Rim marks of one wheel must agree on its angle this well [rad].
ANGLE_SLACK_RAD = 0.45


@dataclass(frozen=True)
class NamedMachine:
    """One way to read the spots as a machine: spot by marker column, the pose and how ill it fits (lower is better)."""

    spots: Mapping[int, int]
    pose: Pose
    cost: float
    wheel_angle_rad: Mapping[str, float] = field(default_factory=dict)


def name_machines(
    plans: Sequence[MarkerPlan], blobs: Blobs, palette: Palette, camera: Camera, sheet: RunSheet
) -> dict[str, NamedMachine]:
    """Read the spots as the machines' own markers and rim marks; a machine that cannot be read is left out.

    Where several machines wear the same colours the choice is made for all together: no spot serves twice, and of two
    machines the one with home at -x stands further to -x.
    """
    options = {
        name: _read_one_machine(name, machine, plans, blobs, palette, camera, sheet)[:6]
        for name, machine in sheet.machine.items()
    }
    names = [n for n, found in options.items() if found]
    best: dict[str, NamedMachine] = {}
    best_cost = np.inf
    for choice in itertools.product(*[[*options[n], None] for n in names]):
        chosen = {n: c for n, c in zip(names, choice, strict=True) if c is not None}
        spots = [s for c in chosen.values() for s in c.spots.values()]
        if len(spots) != len(set(spots)):
            continue
        cost = sum(c.cost for c in chosen.values()) + 20.0 * (len(names) - len(chosen))
        cost += 4.0 * _crossed_homes(chosen, sheet)
        if cost < best_cost:
            best, best_cost = chosen, cost
    return best


def _crossed_homes(chosen: Mapping[str, NamedMachine], sheet: RunSheet) -> int:
    sides = [(1 if sheet.machine[n].home == "+x" else -1, c.pose.x_m) for n, c in chosen.items()]
    return sum(1 for (a, x), (b, y) in itertools.combinations(sides, 2) if a != b and (x - y) * a < 0)


def _read_one_machine(
    name: str,
    machine: Machine,
    plans: Sequence[MarkerPlan],
    blobs: Blobs,
    palette: Palette,
    camera: Camera,
    sheet: RunSheet,
) -> list[NamedMachine]:
    """All sensible readings, best first."""
    columns = [i for i, p in enumerate(plans) if p.machine == name and p.kind == "body" and not p.on_reach]
    if not columns or not len(blobs.area_px):
        return []
    profile = sheet.table.profile_m
    heights = {i: place_above(camera, blobs.place_px, plans[i].at_m[2], profile) for i in columns}
    fitting = {i: [k for k in _spots_of(plans[i], blobs, palette) if _on_table(heights[i][k], sheet)] for i in columns}
    home_rad = 0.0 if machine.home == "+x" else np.pi
    readings = []
    for pose, start_cost in _candidate_poses(columns, plans, fitting, heights, home_rad, profile):
        expected = {i: pose.place(np.array(plans[i].at_m)) for i in columns}
        spots, misfit = assign_spots(expected, {i: {k: heights[i][k] for k in fitting[i]} for i in columns}, camera)
        cost = start_cost + misfit
        rims, angles = name_rims(name, machine, plans, pose, blobs, palette, camera, taken=set(spots.values()))
        marks = sum(1 for p in plans if p.machine == name and p.kind == "rim")
        cost += 1.5 * (marks - len(rims)) + 1.0 * (1 - np.cos(pose.heading_rad - home_rad))
        taken = {*spots.values(), *rims.values()}
        arm = _name_reach(name, machine, plans, pose, blobs, palette, camera, taken)
        readings.append(NamedMachine({**spots, **rims, **arm}, pose, float(cost), angles))
    readings.sort(key=lambda r: r.cost)
    return readings


def assign_spots(
    expected_m: Mapping[int, FloatArray], spots_m: Mapping[int, Mapping[int, FloatArray]], camera: Camera
) -> tuple[dict[int, int], float]:
    """Which spot is which of a machine's markers, for all of them together: spot by column, and the misfit.

    Parameters
    ----------
    expected_m : mapping from column to table place (3,)
        Where a pose puts the markers.
    spots_m : mapping from column to the table places (3,) of the spots that may be it, at the marker's height

    Notes
    -----
    The assignment with the least sum of squared distances, each in the metric of its covariance: the sheet's slack
    either way, and two pixels in the picture, which reach further along the line of sight than across it. A marker
    further off than `GATE` standard deviations, or without a spot, costs `_COST_MISSED`. Solved by
    scipy.optimize.linear_sum_assignment (D. F. Crouse, IEEE Trans. Aerospace and Electronic Systems 52 (2016) 1679).
    Checked by: tests/markers/test_naming.py::test_spots_are_assigned_for_all_markers_together
    """
    columns = list(expected_m)
    spots = sorted({k for near in spots_m.values() for k in near})
    # A column of its own for "not seen" stands beside the spots for each marker.
    cost = np.full((len(columns), len(spots) + len(columns)), _NEVER)
    for row, i in enumerate(columns):
        cost[row, len(spots) + row] = _COST_MISSED
        if not spots_m[i]:
            continue
        off = np.array([spots_m[i][k] - expected_m[i] for k in spots_m[i]])[:, :2]
        weight = np.linalg.inv(_spread_of(expected_m[i], camera))
        squared = np.einsum("ki,ij,kj->k", off, weight, off)
        for k, value in zip(spots_m[i], squared, strict=True):
            if value < GATE**2:
                cost[row, spots.index(k)] = min(float(value), _COST_MISSED - 0.01)
    rows, chosen = linear_sum_assignment(cost)
    named = {columns[row]: spots[column] for row, column in zip(rows, chosen, strict=True) if column < len(spots)}
    return named, float(cost[rows, chosen].sum())


def _spread_of(place_m: FloatArray, camera: Camera) -> FloatArray:
    """Covariance (2, 2) [m²] of a marker's place about the one that a pose gives it."""
    centre, direction = rays(camera.parameters, project_points(camera.parameters, place_m))
    distance = float(np.linalg.norm(place_m - centre))
    along = direction / np.linalg.norm(direction)
    # A pixel across the line of sight, carried down onto the level plane.
    per_px = distance / float(np.mean(camera.parameters[:2]))
    flat = along[:2] / np.hypot(*along[:2]) if np.hypot(*along[:2]) > 1e-6 else np.array([1.0, 0.0])
    steep = max(abs(float(along[2])), 0.1)
    stretched = np.eye(2) + (1 / steep**2 - 1) * np.outer(flat, flat)
    return np.asarray(DISTANCE_SLACK_M**2 * np.eye(2) + (U_SPOT_PX * per_px) ** 2 * stretched)


def _name_reach(
    name: str,
    machine: Machine,
    plans: Sequence[MarkerPlan],
    pose: Pose,
    blobs: Blobs,
    palette: Palette,
    camera: Camera,
    taken: set[int],
) -> dict[int, int]:
    """Spots of markers that ride on a machine's arm: on its line, within its stroke of the place drawn in."""
    spots: dict[int, int] = {}
    stroke_m = machine.reach.stroke_m if machine.reach is not None else 0.0
    for i, plan in enumerate(plans):
        if plan.machine != name or not plan.on_reach:
            continue
        drawn_in = pose.place(np.array(plan.at_m))
        places = place_on_plane(camera.parameters, blobs.place_px, drawn_in, pose.up) - drawn_in
        along, across = np.abs(places @ pose.forward), np.abs(places @ pose.left)
        fitting = [
            k
            for k in _spots_of(plan, blobs, palette)
            if k not in taken and across[k] < 2 * DISTANCE_SLACK_M and along[k] < stroke_m + 2 * DISTANCE_SLACK_M
        ]
        if fitting:
            spots[i] = min(fitting, key=lambda k: float(across[k]))
            taken.add(spots[i])
    return spots


def _candidate_poses(
    columns: Sequence[int],
    plans: Sequence[MarkerPlan],
    fitting: Mapping[int, list[int]],
    heights: Mapping[int, FloatArray],
    home_rad: float,
    profile_m: Profile,
) -> list[tuple[Pose, float]]:
    poses: list[tuple[Pose, float]] = []
    for i, j in itertools.combinations(columns, 2):
        first_at, second_at = np.array(plans[i].at_m), np.array(plans[j].at_m)
        apart = float(np.hypot(*(second_at - first_at)[:2]))
        if apart < 0.02:
            continue
        slack = DISTANCE_SLACK_M + DISTANCE_SLACK_RATIO * apart
        for a, b in itertools.product(fitting[i], fitting[j]):
            if a != b and abs(np.hypot(*(heights[j][b] - heights[i][a])[:2]) - apart) < slack:
                poses.append((pose_from_pair(first_at, second_at, heights[i][a], heights[j][b], profile_m), 0.0))
    if not poses and len(columns) == 1:
        # One marker alone says where the machine is, not how it is turned: taken as facing home.
        (i,) = columns
        for k in fitting[i]:
            turned = heights[i][k] - Pose(0.0, 0.0, home_rad).place(np.array(plans[i].at_m))
            poses.append((stand(float(turned[0]), float(turned[1]), home_rad, profile_m), 4.0))
    return poses


def name_rims(
    name: str,
    machine: Machine,
    plans: Sequence[MarkerPlan],
    pose: Pose,
    blobs: Blobs,
    palette: Palette,
    camera: Camera,
    taken: set[int],
) -> tuple[dict[int, int], dict[str, float]]:
    """Spots that are rim marks of a machine at a known pose, and the wheels' angles [rad].

    A mark lies on its circle in the wheel's face, and all marks of a wheel agree on one angle. The angle grows while
    driving forward, which carries a mark from up to forward.
    """
    spots: dict[int, int] = {}
    angles: dict[str, float] = {}
    for wheel in machine.wheel:
        columns = [i for i, p in enumerate(plans) if p.machine == name and p.kind == "rim" and p.wheel == wheel.name]
        if not columns or not faces_camera(camera, pose, np.array(wheel.face_m)):
            continue
        face = pose.place(np.array(wheel.face_m))
        on_face = place_on_plane(camera.parameters, blobs.place_px, face, pose.left) - face
        forward, up = on_face @ pose.forward, on_face @ pose.up
        votes = []
        for i in columns:
            for k in _spots_of(plans[i], blobs, palette):
                off = np.hypot(forward[k], up[k]) - plans[i].circle_m
                if k not in taken and abs(off) < CIRCLE_SLACK_RATIO * plans[i].circle_m:
                    angle = np.deg2rad(plans[i].angle_deg) - np.arctan2(up[k], forward[k])
                    votes.append((i, k, float(angle), float(abs(off) / plans[i].circle_m)))
        chosen = _agreeing(votes)
        if chosen:
            spots |= {i: k for i, k, _, _ in chosen}
            turning = np.array([v[2] for v in chosen])
            angles[wheel.name] = float(np.angle(np.exp(1j * turning).mean()))
    return spots, angles


def faces_camera(camera: Camera, pose: Pose, face_m: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether the camera sees the outer side of wheel faces, given their middles (..., 3) in the machine frame."""
    side = np.where(face_m[..., 1] >= 0, 1.0, -1.0)
    centre = -rotation_matrix(camera.parameters[9:12]).T @ camera.parameters[12:15]
    return np.asarray(side * ((centre - pose.place(face_m)) @ pose.left) > 0, dtype=np.bool_)


def _agreeing(votes: list[tuple[int, int, float, float]]) -> list[tuple[int, int, float, float]]:
    """The largest set of votes (column, spot, angle, misfit), one a column and a spot, that agree on the angle."""
    best: list[tuple[int, int, float, float]] = []
    best_score = -np.inf
    for _, _, angle, _ in votes:
        group: dict[int, tuple[int, int, float, float]] = {}
        for vote in sorted(votes, key=lambda v: v[3]):
            apart = abs(np.angle(np.exp(1j * (vote[2] - angle))))
            if apart < ANGLE_SLACK_RAD and vote[0] not in group and vote[1] not in {g[1] for g in group.values()}:
                group[vote[0]] = vote
        score = len(group) - sum(g[3] for g in group.values())
        if score > best_score:
            best, best_score = list(group.values()), score
    return best


def _spots_of(plan: MarkerPlan, blobs: Blobs, palette: Palette) -> list[int]:
    """Spots of the marker's colour whose size suits it."""
    if plan.colour not in palette.names:
        return []
    fits = (blobs.colour == palette.names.index(plan.colour)) & blobs.suit(plan.radius_m)
    return [int(k) for k in np.flatnonzero(fits)]


def _on_table(place_m: FloatArray, sheet: RunSheet) -> bool:
    over = 0.10
    return bool(abs(place_m[0]) < sheet.table.length_m / 2 + over and abs(place_m[1]) < sheet.table.width_m / 2 + over)
