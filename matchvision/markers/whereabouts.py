"""Where the markers are: as last seen, as they should be now, and what a new sight of them says."""

import math
from collections.abc import Sequence

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.geometry.camera import place_at_height, place_on_plane
from matchvision.markers.consistency import Bonds, off_circle, strain_of, wheel_coordinates
from matchvision.markers.finding import Found, marker_heights, rope_columns, rope_ends
from matchvision.markers.leaning import contact_of
from matchvision.markers.poses import Pose, measure_pose
from matchvision.markers.predicting import MachineState, predict_machine, predict_rope
from matchvision.markers.rearing import STRAINED
from matchvision.markers.rope import RopeEnds
from matchvision.records.camera import Camera
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan


class Whereabouts:
    """Table places of m markers: machines by pose and wheel angles, all others each by itself.

    Attributes
    ----------
    machines : dict of MachineState
    columns, bodies, rims : dicts of column lists
        Of each machine: all, those of its rigid body, those of its wheels.
    rope : list of columns
    last_m, seen_s : (m, 3) and (m,) float arrays
        Where and when each was last seen.
    before_s : float
        Clip time of the frame before, NaN before the first.
    """

    def __init__(self, plans: Sequence[MarkerPlan], sheet: RunSheet, bonds: Bonds) -> None:
        self._plans, self._sheet, self._bonds = plans, sheet, bonds
        count = len(plans)
        self.rope = rope_columns(plans)
        self.machines = {n: MachineState(sheet.table.profile_m, contact_of(m)) for n, m in sheet.machine.items()}
        self.columns = {n: [i for i, p in enumerate(plans) if p.machine == n] for n in sheet.machine}
        self.bodies = {
            n: [i for i in c if plans[i].kind == "body" and not plans[i].on_reach] for n, c in self.columns.items()
        }
        self.rims = {n: [i for i in c if plans[i].kind == "rim"] for n, c in self.columns.items()}
        self._body = np.flatnonzero([p.kind == "body" for p in plans])
        self._arc_m = np.array([p.arc_m for p in plans])
        self._at_m = np.array([p.at_m for p in plans]).reshape(-1, 3)
        self.height_m = marker_heights(plans, sheet)
        self.last_m = np.full((count, 3), np.nan)
        self._velocity_m_s = np.zeros((count, 3))
        self.seen_s = np.full(count, -np.inf)
        self.before_s = np.nan

    def step_s(self, clip_s: float) -> float:
        """Time since the frame before [s], zero at the first."""
        return clip_s - self.before_s if np.isfinite(self.before_s) else 0.0

    def ends(self, poses: dict[str, Pose]) -> RopeEnds:
        """Where the rope's ends are hitched, as far as the machines' poses are known."""
        return rope_ends(self._sheet, poses)

    def points_of(self, columns: Sequence[int]) -> FloatArray:
        """Where some columns' markers sit on their machines, (k, 3) [m]."""
        return np.asarray(self._at_m[columns], dtype=np.float64)

    def predict(self, clip_s: float) -> tuple[FloatArray, dict[str, Pose]]:
        """Expected table places (m, 3), NaN where nothing is known, and poses."""
        expected = np.full((len(self._plans), 3), np.nan)
        poses: dict[str, Pose] = {}
        # Where a body's marker was last; where its machine's pose is known, that tells more.
        expected[self._body] = self.last_m[self._body]
        for name, state in self.machines.items():
            pose = predict_machine(self._plans, self.columns[name], state, clip_s, expected)
            if pose is not None:
                poses[name] = pose
        if self.rope and self._sheet.rope is not None:
            ends = self.ends(poses)
            places = {0.0: ends.first_m, ends.length_m: ends.last_m}
            known = {a: p for a, p in places.items() if p is not None}
            predict_rope(
                self.rope, self._arc_m, self.last_m, self._velocity_m_s, clip_s - self.seen_s, self.step_s(clip_s),
                known, expected,
            )  # fmt: skip
            expected[self.rope, 2] = self.height_m[self.rope]
        return expected, poses

    def lay_rope(self, poses: dict[str, Pose]) -> None:
        """Work out the rope's height between the machines' hitches."""
        if self.rope:
            self.height_m[self.rope] = self.ends(poses).height_at(self._arc_m[self.rope])

    def place(
        self, camera: Camera, place_px: FloatArray, poses: dict[str, Pose], rows: BoolArray | None = None
    ) -> FloatArray:
        """Table places (m, 3), of some rows where asked: rim marks in their wheel's face, bodies at their height."""
        point = np.zeros((len(self._plans), 3))
        point[:, 2] = self.height_m
        normal = np.tile([0.0, 0.0, 1.0], (len(self._plans), 1))
        for name, pose in poses.items():
            own = self.columns[name]
            point[own] = pose.place(self._at_m[own])
            normal[own] = pose.up
            normal[self.rims[name]] = pose.left
        if rows is not None:
            place_px, point, normal = place_px[rows], point[rows], normal[rows]
        return place_on_plane(camera.parameters, place_px, point, normal)

    def adopt(self, found: Found, camera: Camera, clip_s: float, columns: Sequence[int]) -> None:
        """Take over some columns' markers from a look at the whole frame as if they had been seen."""
        for name, machine in found.machines.items():
            if any(i in columns for i in machine.spots):
                self.machines[name].take(machine.pose, clip_s)
                for wheel, angle in machine.wheel_angle_rad.items():
                    self.machines[name].take_wheel(wheel, angle, clip_s)
        places_px = found.blobs.place_px[[found.spots[i] for i in columns]]
        self.last_m[columns] = place_at_height(camera.parameters, places_px, self.height_m[columns])
        self._velocity_m_s[columns], self.seen_s[columns] = 0.0, clip_s

    def lose(self, columns: Sequence[int]) -> None:
        """Forget when some columns' markers were seen: their names were wrong."""
        self.seen_s[columns] = -np.inf

    def take_machine(
        self, name: str, place_m: FloatArray, good: BoolArray, expected: Pose | None, clip_s: float
    ) -> list[int]:
        """Take over a machine's pose and wheel angles; give the rim marks that cannot be such."""
        state, bodies = self.machines[name], self.bodies[name]
        pose = measure_pose(self._at_m[bodies], place_m[bodies], expected, self._sheet.table.profile_m)
        if pose is not None:
            state.take(pose, clip_s)
        pose = pose or expected
        if pose is None:
            return self.rims[name]
        doubted: list[int] = []
        turning: dict[str, list[float]] = {}
        worst = -1.0
        for i in self.rims[name]:
            if not good[i]:
                continue
            distance_m, angle_rad = wheel_coordinates(self._plans[i], pose, place_m[i])
            off = off_circle(self._plans[i], distance_m)
            worst = max(worst, off)
            if off > 1:
                doubted.append(i)
            else:
                turning.setdefault(self._plans[i].wheel, []).append(angle_rad)
        if worst < 0:
            # Without a wheel in sight only its own markers tell.
            worst = strain_of(self._bonds, [i for i in bodies if np.isfinite(place_m[i, 0])], (), place_m, pose)
        state.strained = worst > STRAINED
        for wheel, angles in turning.items():
            state.take_wheel(wheel, math.atan2(sum(map(math.sin, angles)), sum(map(math.cos, angles))), clip_s)
        return doubted

    def take(self, place_m: FloatArray, tracked: BoolArray, clip_s: float) -> None:
        """Take over the table places (m, 3) of the markers tracked, and their speeds."""
        step_s = self.step_s(clip_s)
        steady = tracked & (self.seen_s == self.before_s) & (step_s > 0)
        self._velocity_m_s[tracked] = 0.0
        self._velocity_m_s[steady] = (place_m - self.last_m)[steady] / max(step_s, 1e-9)
        self.last_m[tracked] = place_m[tracked]
        self.seen_s[tracked] = clip_s
