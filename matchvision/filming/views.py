"""Where the camera sees the markers, each row of the picture at its own time, and what hides them."""

from dataclasses import dataclass

import numpy as np

from matchvision.filming.arrays import Array, Flags
from matchvision.filming.camera import Poses, lens_of, poses_over_time, project_points
from matchvision.filming.course import Course
from matchvision.filming.equipment import Camera
from matchvision.filming.ground import axes
from matchvision.filming.hand import hidden_by_hands
from matchvision.filming.places import FACE_CLEARANCE_M, Places, origins, place_everything
from matchvision.filming.scene import Scene

TRAIL_S = 0.002  # between these times a marker goes straight, within a hundredth of a millimetre
ROLLING_TURNS = 4  # each brings the time of a marker's row nearer by a factor of a hundred or more


@dataclass(frozen=True)
class Views:
    """What the camera sees: true marker pixels (n, 2), whether visible (n,), and the camera's poses.

    ``pixels`` are where a marker is drawn; with a rolling shutter that is at ``moments``, (n,) for each marker, found
    on its ``trails`` at the times ``trail_s``. Poses are those of the pictures' middle rows.
    """

    pixels: dict[str, Array]
    visible: dict[str, Flags]
    poses: Poses
    moments: dict[str, Array]
    trail_s: Array
    trails: dict[str, Array]

    def on_trail(self, name: str, clip_s: Array) -> Array:
        """Place of a marker at other times, (n, 3)."""
        return np.stack([np.interp(clip_s, self.trail_s, self.trails[name][:, a]) for a in range(3)], axis=-1)


def poses_of(scene: Scene, clip_s: Array) -> Poses:
    """The camera's poses at any times."""
    return poses_over_time(scene.camera, clip_s, np.random.default_rng([scene.seed, 1]))


def row_moments(camera: Camera, pts_s: Array, row_px: Array) -> Array:
    """When rows are exposed: the middle row at pts, the others before and after it."""
    return np.asarray(pts_s + (row_px / (camera.size_px[1] - 1) - 0.5) * camera.readout_s)


def project(scene: Scene, course: Course, places: Places) -> Views:
    """True pixels of every marker at every time, and which the camera sees.

    Parameters
    ----------
    scene, course
        As given to and by `play`.
    places : Places
        From `place_everything`, at the pictures' times.

    Returns
    -------
    Views
        A marker is visible where its centre lies in the picture and at least three of five rays to it are free:
        to the centre and to four points 0.7 of a radius from it. A rim mark needs its wheel's
        face turned to the camera.

    Notes
    -----
    With a rolling shutter the time t of a marker solves t = pts + (v(t) / (height − 1) − 0.5) · readout.

    Checked by: tests/filming/test_views.py::test_each_marker_is_drawn_when_its_row_is_exposed
    """
    lens, poses = lens_of(scene.camera), poses_of(scene, places.clip_s)
    now = course.at(places.clip_s)
    eye = poses.position
    width, height = scene.camera.size_px
    views = Views({}, {}, poses, {}, *_trails(scene, course, places))
    for name, points in places.markers.items():
        moments, seen = places.clip_s, project_points(points[:, None], lens, poses)[:, 0]
        for _ in range(ROLLING_TURNS if scene.camera.readout_s else 0):
            moments = row_moments(scene.camera, places.clip_s, seen[:, 1])
            there = views.on_trail(name, moments)[:, None]
            seen = project_points(there, lens, poses_of(scene, moments))[:, 0]
        inside = (seen[:, 0] >= 0) & (seen[:, 0] <= width - 1) & (seen[:, 1] >= 0) & (seen[:, 1] <= height - 1)
        across, along, facing = _spread(scene, now, name, points, eye)
        offsets = np.broadcast_arrays(np.zeros_like(points), across, -across, along, -along)
        rays = points + np.stack(offsets)
        hidden = hidden_by_hands(scene, rays, eye, moments)
        behind = np.stack([_behind_machines(ray, eye, scene, now) for ray in rays])
        free = (~(hidden | behind)).sum(axis=0)
        views.pixels[name], views.visible[name] = seen, inside & facing & (free >= 3)
        views.moments[name] = moments
    return views


def _trails(scene: Scene, course: Course, places: Places) -> tuple[Array, dict[str, Array]]:
    """Times and places of all markers, close enough to go straight between them; none without a rolling shutter."""
    if scene.camera.readout_s == 0:
        return places.clip_s, places.markers
    spare = scene.camera.readout_s + scene.camera.exposure_s
    times = np.arange(places.clip_s[0] - spare, places.clip_s[-1] + spare + TRAIL_S, TRAIL_S)
    return times, place_everything(scene, course, times).markers


def _segment_hits_box(start: Array, end: Array, half: Array, centre: Array) -> Flags:
    """Whether straight lines (n, 3) to (n, 3) pass through an axis-aligned box."""
    step = end - start
    step = np.where(np.abs(step) < 1e-12, 1e-12, step)
    first, second = (centre - half - start) / step, (centre + half - start) / step
    enter = np.minimum(first, second).max(axis=1)
    leave = np.maximum(first, second).min(axis=1)
    return np.asarray((enter < leave) & (leave > 0) & (enter < 1))


def _behind_machines(points: Array, camera: Array, scene: Scene, course: Course) -> Flags:
    """Which of the points (n, 3) lie behind a machine's box."""
    hidden = np.zeros(len(points), bool)
    for name, machine in scene.machine.items():
        state = course.machines[name]
        turn, origin = axes(state.heading_rad, state.tilt_rad), origins(state)
        ends = [np.einsum("nij,ni->nj", turn, point - origin) for point in (points, camera)]
        length, width, height = machine.size_m
        half = np.array([length / 2, width / 2, height / 2]) - FACE_CLEARANCE_M
        hidden |= _segment_hits_box(ends[0], ends[1], half, np.array([0.0, 0.0, height / 2]))
    return hidden


def _spread(scene: Scene, now: Course, name: str, points: Array, camera: Array) -> tuple[Array, Array, Flags]:
    """Two offsets (n, 3) of 0.7 radius within a marker's face, and whether the face is turned to the camera."""
    machine_name, _, part = name.partition(".")
    if not part:
        radius = 0.7 * scene.rope.bead_radius_m
        return radius * np.eye(3)[[0]], radius * np.eye(3)[[2]], np.ones(len(points), bool)
    machine, state = scene.machine[machine_name], now.machines[machine_name]
    forward, left, up = np.moveaxis(axes(state.heading_rad, state.tilt_rad), -1, 0)
    for wheel in machine.wheel:
        for mark in wheel.rim:
            if mark.name == part:
                radius, outward = 0.7 * mark.radius_m, left * np.sign(wheel.face_m[1])
                return radius * forward, radius * up, ((camera - points) * outward).sum(axis=1) > 0
    radius = next(0.7 * disc.radius_m for disc in machine.marker if disc.name == part)
    return radius * forward, radius * left, ((camera - points) * up).sum(axis=1) > 0
