"""Following the named markers from frame to frame."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import place_at_height, place_on_plane
from matchvision.markers.bridging import join_tracks
from matchvision.markers.centres import Centres, Windows, choose_centres, find_centres, is_clear
from matchvision.markers.colours import chroma_of_plans, expect_palette, learn_chroma
from matchvision.markers.confusing import name_confusions
from matchvision.markers.consistency import Bonds, doubt_bodies, doubt_rope, off_circle, strain_of, wheel_coordinates
from matchvision.markers.drifting import Drift
from matchvision.markers.finding import Found, find_all, marker_heights, rope_columns, rope_ends
from matchvision.markers.leaning import LeaningPose, contact_of
from matchvision.markers.naming import faces_camera
from matchvision.markers.noting import describe_tracks, nothing_found
from matchvision.markers.poses import Pose, measure_pose
from matchvision.markers.predicting import MachineState, predict_machine, predict_rope
from matchvision.markers.projecting import project_markers
from matchvision.markers.rearing import STRAINED, find_lean
from matchvision.markers.recording import Record
from matchvision.markers.refining import Refiner
from matchvision.markers.rope import contradicts_ends
from matchvision.markers.seeking import agreeing_columns, name_rope_afresh
from matchvision.markers.shapes import Shapes, disc_axes, predict_shapes
from matchvision.markers.siting import measure_siting
from matchvision.markers.warming import compile_kernels_apart
from matchvision.markers.widening import MARGIN_PX, rope_rivals, widen
from matchvision.records.camera import Camera
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks

FloatArray = npt.NDArray[np.float64]

#: Frames between two predictions of the markers' ellipses.
_FRAMES_A_SHAPE: Final = 12
#: So far from where it was expected a marker's place on the table follows its pixel in a straight line.
_STRAIGHT_PX: Final = 12.0
#: Contrast from which a place serves to keep a marker in view, though it may be too blurred to count as seen.
_FAINTEST: Final = 0.25
#: How strongly chroma across the marker's own direction counts against it.
_SIDEWAYS: Final = 2.0
#: A marker out of sight for so long is sought over the whole picture; waits double up to the longest [s].
_SEEK_AFTER_S: Final = 0.2
_WAITS_S: Final = (0.25, 4.0)


class MarkerTracker:
    """Finds the markers in the first frame that shows them, then follows each in a small window.

    Parameters
    ----------
    plans : marker plans
        As `plan_markers` gives them; the columns of the tracks.
    sheet : RunSheet
    facts : ClipFacts
        For the clip's colour matrix and range.
    notice : callable, optional
        Told, before anything is followed, of each pair of colours that can hardly be told apart in this clip.
    """

    def __init__(
        self,
        plans: Sequence[MarkerPlan],
        sheet: RunSheet,
        facts: ClipFacts,
        notice: Callable[[str], None] | None = None,
    ) -> None:
        compile_kernels_apart()
        self._plans = tuple(plans)
        self._sheet = sheet
        self._coding = (facts.matrix, facts.full_range, facts.transfer)
        self._palette = expect_palette(sheet.colour, *self._coding)
        count = len(self._plans)
        self._rope = rope_columns(self._plans)
        self._machines = {n: MachineState(sheet.table.profile_m, contact_of(m)) for n, m in sheet.machine.items()}
        self._columns = {n: [i for i, p in enumerate(plans) if p.machine == n] for n in sheet.machine}
        self._bodies = {
            n: [i for i in c if plans[i].kind == "body" and not plans[i].on_reach] for n, c in self._columns.items()
        }
        self._rims = {n: [i for i in c if plans[i].kind == "rim"] for n, c in self._columns.items()}
        self._body = np.flatnonzero([p.kind == "body" for p in plans])
        self._arc_m = np.array([p.arc_m for p in plans])
        self._at_m = np.array([p.at_m for p in self._plans]).reshape(-1, 3)
        self._height_m = marker_heights(self._plans, sheet)
        self._last_m = np.full((count, 3), np.nan)
        self._velocity_m_s = np.zeros((count, 3))
        self._seen_s = np.full(count, -np.inf)
        self._correction_px = np.zeros((count, 2))
        self._chroma = chroma_of_plans(self._plans, self._palette)
        self._bonds = Bonds(self._plans)
        self._on_rope = np.isin(np.arange(count), self._rope)
        self._same_colour = rope_rivals(self._plans)
        self._neutral = self._palette.neutral
        self._drift = Drift(self._plans)
        self._notice, self._confusions = notice, tuple[str, ...]()
        self._siting: tuple[float, float] | None = None
        self._shapes = Shapes(np.full((count, 3), np.nan), np.full(count, np.nan), np.zeros((count, 2)))
        self._facing = np.ones(count, dtype=np.bool_)
        self._metres_per_px = np.full((count, 3, 2), np.nan)
        self._refiner = Refiner(self._plans)
        self._started = False
        self._seek_at_s, self._wait_s = -np.inf, _WAITS_S[0]
        self._doubt_at_s, self._doubt_wait_s = -np.inf, _WAITS_S[0]
        self._before_s = np.nan
        self._record = Record(count)

    def see(self, frame: Frame, camera: Camera) -> None:
        """Take the next frame, with the camera that belongs to it."""
        if self._siting is not None:
            frame = replace(frame, chroma_offset_px=self._siting)
        seen_px, u_px = np.full((2, len(self._plans), 2), np.nan)
        if frame.doubled:
            # It shows the moment before: measured at its time, everything would seem to stop for a picture.
            self._record.take(frame.index, frame.clip_s, seen_px, u_px)
            return
        if self._plans and not self._started and frame.clip_s >= self._seek_at_s:
            frame = self._start(frame, camera)
        if self._started:
            expected_m, poses = self._predict(frame.clip_s)
            if frame.index % _FRAMES_A_SHAPE == 0 or any(isinstance(p, LeaningPose) for p in poses.values()):
                self._refresh(camera, expected_m, poses)
            seen_px, u_px = self._measure(frame, camera, expected_m, poses)
            self._seek_lost(frame, camera, seen_px)
            if self._check_names(frame, camera, poses):
                seen_px[self._rope], u_px[self._rope] = np.nan, np.nan
        self._record.take(frame.index, frame.clip_s, seen_px, u_px)
        self._before_s = frame.clip_s

    def tracks(self, *, needed: bool = True) -> tuple[Tracks, StageNote]:
        """The tracks of all frames seen, short gaps bridged.

        Parameters
        ----------
        needed : bool
            Whether it is an error that no marker was found; not where a person has set points by hand.

        Raises
        ------
        MarkerError
            Markers are named in the sheet, and not one was found in any frame.
        """
        tracks = join_tracks(self._plans, self._record.frame, self._record.clip_s, *self._record.places())
        if needed and self._plans and not np.isfinite(tracks.col_px).any():
            raise nothing_found(self._plans, self._sheet)
        return tracks, describe_tracks(tracks, self._confusions, self._sheet)

    def _start(self, frame: Frame, camera: Camera) -> Frame:
        """Look over the whole frame; learn colours and chroma siting from what is found there."""
        found = find_all(frame, camera, self._plans, self._sheet, self._palette)
        self._neutral = found.neutral
        self._seek_at_s = frame.clip_s + _WAITS_S[0]
        if not found.spots:
            return frame
        self._started = True
        self._adopt(found, camera, frame.clip_s, list(found.spots))
        self._confusions = name_confusions(self._plans, self._chroma, *self._coding)
        if self._notice is not None:
            for sentence in self._confusions:
                self._notice(sentence)
        expected_m, poses = self._predict(frame.clip_s)
        self._refresh(camera, expected_m, poses)
        small = self._shapes.radius_px + MARGIN_PX
        windows = self._windows(project_markers(camera.parameters, expected_m), small)
        centres = find_centres(frame, windows)
        self._siting = measure_siting(frame, windows, centres.place_px, ~self._on_rope)
        return replace(frame, chroma_offset_px=self._siting)

    def _adopt(self, found: Found, camera: Camera, clip_s: float, columns: Sequence[int]) -> None:
        """Take over markers from a look at the whole frame as if they had been seen, and learn their colours."""
        seen = {i: found.blobs.chroma[found.spots[i]] for i in columns}
        self._chroma = learn_chroma(self._plans, seen, self._chroma)
        self._drift.start(self._chroma, columns)
        for name, machine in found.machines.items():
            if any(i in columns for i in machine.spots):
                self._machines[name].take(machine.pose, clip_s)
                for wheel, angle in machine.wheel_angle_rad.items():
                    self._machines[name].take_wheel(wheel, angle, clip_s)
        places_px = found.blobs.place_px[[found.spots[i] for i in columns]]
        self._last_m[columns] = place_at_height(camera.parameters, places_px, self._height_m[columns])
        self._velocity_m_s[columns], self._seen_s[columns] = 0.0, clip_s

    def _predict(self, clip_s: float) -> tuple[FloatArray, dict[str, Pose]]:
        """Expected table places (m, 3), NaN where nothing is known, and poses."""
        expected = np.full((len(self._plans), 3), np.nan)
        poses: dict[str, Pose] = {}
        age_s = clip_s - self._seen_s
        # Where a body's marker was last; where its machine's pose is known, that tells more.
        expected[self._body] = self._last_m[self._body]
        for name, state in self._machines.items():
            pose = predict_machine(self._plans, self._columns[name], state, clip_s, expected)
            if pose is not None:
                poses[name] = pose
        if self._rope and self._sheet.rope is not None:
            ends = rope_ends(self._sheet, poses)
            places = {0.0: ends.first_m, ends.length_m: ends.last_m}
            known = {a: p for a, p in places.items() if p is not None}
            step_s = clip_s - self._before_s if np.isfinite(self._before_s) else 0.0
            predict_rope(self._rope, self._arc_m, self._last_m, self._velocity_m_s, age_s, step_s, known, expected)
            expected[self._rope, 2] = self._height_m[self._rope]
        return expected, poses

    def _refresh(self, camera: Camera, expected_m: FloatArray, poses: dict[str, Pose]) -> None:
        """What changes slowly: the markers' ellipses, the rope's height, and which wheels face the camera."""
        there = np.where(np.isfinite(expected_m), expected_m, [0.0, 0.0, 0.03])
        self._shapes = predict_shapes(camera, self._plans, there, disc_axes(self._plans, poses))
        if self._rope:
            self._height_m[self._rope] = rope_ends(self._sheet, poses).height_at(self._arc_m[self._rope])
        for name, pose in poses.items():
            self._facing[self._rims[name]] = faces_camera(camera, pose, self._at_m[self._rims[name]])
        bare_px = project_markers(camera.parameters, expected_m)
        # A pixel to the right and a pixel down.
        there_m = self._place(camera, bare_px + np.array([[[0, 0]], [[1, 0]], [[0, 1]]]), poses)
        self._metres_per_px = np.moveaxis(there_m[1:] - there_m[0], 0, 2)

    def _measure(
        self, frame: Frame, camera: Camera, expected_m: FloatArray, poses: dict[str, Pose]
    ) -> tuple[FloatArray, FloatArray]:
        """Places and uncertainties (m, 2) of the markers seen, NaN elsewhere; what is known moves on."""
        shapes = self._shapes
        bare_px = project_markers(camera.parameters, expected_m)
        expected_px = bare_px + self._correction_px
        expected_px[~self._facing] = np.nan
        age_s = frame.clip_s - self._seen_s
        centres = self._look(frame, expected_px + shapes.shift_px, age_s)
        place_px = centres.place_px - shapes.shift_px
        jump_px = np.hypot(*(place_px - expected_px).T)
        place_m = expected_m + np.einsum("mij,mj->mi", self._metres_per_px, place_px - bare_px)
        off = (jump_px > _STRAIGHT_PX) | (np.isnan(place_m[:, 0]) & np.isfinite(place_px[:, 0]))
        if off.any():
            place_m[off] = self._place(camera, place_px, poses, off)
        good = is_clear(centres)
        tracked = np.isfinite(place_px[:, 0]) & (centres.contrast > _FAINTEST)
        place_m[~tracked] = np.nan
        doubted = doubt_rope(self._bonds, self._rope, place_m, jump_px)
        for name, bodies in self._bodies.items():
            place_m[[i for i in bodies if not good[i]]] = np.nan
            if self._machines[name].strained or isinstance(poses.get(name), LeaningPose):
                looked = (place_px, expected_px, place_m)
                off = self._follow_leaning(name, camera, looked, good, poses, frame.clip_s)
                if off is not None:
                    doubted += off
                    continue
            before = len(doubted)
            doubted += doubt_bodies(self._bonds, bodies, place_m, jump_px)
            place_m[[i for i in bodies if i in doubted]] = np.nan
            doubted += self._follow_machine(name, bodies, place_m, good, poses.get(name), frame.clip_s)
            self._machines[name].strained |= len(doubted) > before
        good[doubted] = False
        tracked[doubted] = False
        self._follow_loose(place_m, tracked & (good | self._on_rope), frame.clip_s)
        rigid = good & ~self._on_rope
        self._correction_px[rigid] += 0.3 * (place_px - expected_px)[rigid]
        step_s = frame.clip_s - self._before_s if np.isfinite(self._before_s) else 0.0
        self._chroma = self._drift.follow(self._chroma, centres, good, step_s)
        self._neutral = self._drift.neutral(self._neutral, frame, camera, self._sheet.table)
        return np.where(good[:, None], place_px, np.nan), np.where(good[:, None], centres.u_px, np.nan)

    def _look(self, frame: Frame, expected_px: FloatArray, age_s: FloatArray) -> Centres:
        """Search small windows, then wider ones for what was not clear in its small one."""
        shapes = self._shapes
        windows = self._windows(expected_px, shapes.radius_px + MARGIN_PX)
        centres = find_centres(frame, windows)
        unclear = ~is_clear(centres) & np.isfinite(expected_px[:, 0])
        if unclear.any():
            known = [
                p.kind != "rim" or self._machines[p.machine].knows_wheel(p.wheel, frame.clip_s) for p in self._plans
            ]
            wide = np.where(unclear, widen(self._plans, self._same_colour, shapes.radius_px, expected_px, known), 0.0)
            again = find_centres(frame, self._windows(expected_px, wide))
            better = unclear & (is_clear(again) | (~np.isfinite(centres.place_px[:, 0]) & (age_s < _SEEK_AFTER_S)))
            centres = choose_centres(better, again, centres)
        return self._refiner.refine(frame, windows, centres)

    def _place(
        self, camera: Camera, place_px: FloatArray, poses: dict[str, Pose], rows: npt.NDArray[np.bool_] | None = None
    ) -> FloatArray:
        """Table places (m, 3), of some rows where asked: rim marks in their wheel's face, bodies at their height."""
        point = np.zeros((len(self._plans), 3))
        point[:, 2] = self._height_m
        normal = np.tile([0.0, 0.0, 1.0], (len(self._plans), 1))
        for name, pose in poses.items():
            own = self._columns[name]
            point[own] = pose.place(self._at_m[own])
            normal[own] = pose.up
            normal[self._rims[name]] = pose.left
        if rows is not None:
            place_px, point, normal = place_px[rows], point[rows], normal[rows]
        return place_on_plane(camera.parameters, place_px, point, normal)

    def _follow_machine(
        self,
        name: str,
        bodies: Sequence[int],
        place_m: FloatArray,
        good: npt.NDArray[np.bool_],
        expected: Pose | None,
        clip_s: float,
    ) -> list[int]:
        """Take over a machine's pose and wheel angles; give the rim marks that cannot be such."""
        state = self._machines[name]
        pose = measure_pose(self._at_m[bodies], place_m[bodies], expected, self._sheet.table.profile_m)
        if pose is not None:
            state.take(pose, clip_s)
        pose = pose or expected
        if pose is None:
            return self._rims[name]
        doubted: list[int] = []
        turning: dict[str, list[float]] = {}
        worst = -1.0
        for i in self._rims[name]:
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

    def _follow_leaning(
        self,
        name: str,
        camera: Camera,
        looked: tuple[FloatArray, FloatArray, FloatArray],
        good: npt.NDArray[np.bool_],
        poses: dict[str, Pose],
        clip_s: float,
    ) -> list[int] | None:
        """Take over the pose of a machine that leans, and give the markers that cannot be its; None where it stands.

        ``looked``: places found and expected (m, 2) [px], and those found on the table (m, 3), which become those of
        the leaning machine.
        """
        place_px, expected_px, place_m = looked
        state, expected = self._machines[name], poses.get(name)
        if expected is None:
            return None
        own = [*self._bodies[name], *self._rims[name]]
        seen = [i for i in own if good[i] and np.isfinite(place_m[i, 0])]
        lean, doubted = find_lean(self._bonds, seen, state, expected, place_px, place_m, camera, clip_s)
        leaned = isinstance(expected, LeaningPose)
        if lean is None:
            if not leaned:
                return None
            return doubted or [i for i in seen if np.hypot(*(place_px[i] - expected_px[i])) > _STRAIGHT_PX]
        if lean.stands:
            state.pitch = state.roll = None
            return None
        state.take(lean.pose, clip_s)
        for wheel, angle_rad in lean.wheel_rad.items():
            state.take_wheel(wheel, angle_rad, clip_s)
        poses[name] = lean.pose
        rows = np.isin(np.arange(len(self._plans)), seen)
        place_m[rows] = self._place(camera, place_px, {name: lean.pose}, rows)
        if not leaned:
            # What was put right so far was put right for a machine that stands.
            there_m = np.full((len(self._plans), 3), np.nan)
            predict_machine(self._plans, self._columns[name], state, clip_s, there_m)
            self._correction_px[rows] = place_px[rows] - project_markers(camera.parameters, there_m[rows])
            expected_px[rows] = place_px[rows]
        return doubted

    def _follow_loose(self, place_m: FloatArray, tracked: npt.NDArray[np.bool_], clip_s: float) -> None:
        """Take over table places and speeds."""
        step_s = clip_s - self._before_s if np.isfinite(self._before_s) else 0.0
        steady = tracked & (self._seen_s == self._before_s) & (step_s > 0)
        self._velocity_m_s[tracked] = 0.0
        self._velocity_m_s[steady] = (place_m - self._last_m)[steady] / max(step_s, 1e-9)
        self._last_m[tracked] = place_m[tracked]
        self._seen_s[tracked] = clip_s

    def _seek_lost(self, frame: Frame, camera: Camera, seen_px: FloatArray) -> None:
        """Look over the whole frame for markers lost for a while; take those whose likes in sight agree."""
        lost = [int(i) for i in np.flatnonzero((frame.clip_s - self._seen_s > _SEEK_AFTER_S) & self._facing)]
        if not lost:
            self._wait_s = _WAITS_S[0]
            return
        if frame.clip_s < self._seek_at_s:
            return
        found = find_all(frame, camera, self._plans, self._sheet, self._palette)
        new = agreeing_columns(self._plans, found, seen_px, lost)
        if new:
            self._adopt(found, camera, frame.clip_s, new)
        self._wait_s = _WAITS_S[0] if new else min(2 * self._wait_s, _WAITS_S[1])
        self._seek_at_s = frame.clip_s + self._wait_s

    def _check_names(self, frame: Frame, camera: Camera, poses: dict[str, Pose]) -> bool:
        """Where the rope does not reach a hitch, name it afresh; whether the names have changed."""
        if not self._rope or frame.clip_s < self._doubt_at_s:
            return False
        sight_m = np.where((self._seen_s == frame.clip_s)[:, None], self._last_m, np.nan)
        if not contradicts_ends(self._plans, self._rope, sight_m, rope_ends(self._sheet, poses)):
            return False
        found = find_all(frame, camera, self._plans, self._sheet, self._palette)
        named = name_rope_afresh(self._plans, self._rope, found, camera, self._sheet, self._height_m)
        if named:
            # The names kept so far were shifted along the rope: better lost than wrong.
            self._record.strike(self._rope)
            self._seen_s[self._rope] = -np.inf
            self._adopt(found, camera, frame.clip_s, named)
        self._doubt_wait_s = min(2 * self._doubt_wait_s, _WAITS_S[1])
        self._doubt_at_s = frame.clip_s + self._doubt_wait_s
        return bool(named)

    def _windows(self, place_px: FloatArray, half_px: FloatArray) -> Windows:
        shapes = self._shapes
        strength = np.maximum(np.hypot(self._chroma[:, 0], self._chroma[:, 1]), 1.0)
        return Windows(
            place_px=place_px,
            half_px=half_px,
            direction=self._chroma / strength[:, None],
            strength=strength,
            sideways=np.full(len(self._plans), _SIDEWAYS),
            inverse=shapes.inverse,
            radius_px=shapes.radius_px,
            neutral=self._neutral,
        )
