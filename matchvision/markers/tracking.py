"""Following the named markers from frame to frame."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.markers.appearing import Appearance
from matchvision.markers.bridging import join_tracks
from matchvision.markers.centres import is_clear
from matchvision.markers.colours import expect_palette
from matchvision.markers.confusing import name_confusions
from matchvision.markers.consistency import Bonds, doubt_bodies, doubt_rope
from matchvision.markers.finding import Found, find_all
from matchvision.markers.leaning import LeaningPose
from matchvision.markers.naming import faces_camera
from matchvision.markers.noting import describe_tracks, nothing_found
from matchvision.markers.poses import Pose
from matchvision.markers.predicting import predict_machine
from matchvision.markers.projecting import project_markers
from matchvision.markers.rearing import find_lean
from matchvision.markers.recording import Record
from matchvision.markers.rope import contradicts_ends
from matchvision.markers.seeking import agreeing_columns, name_rope_afresh
from matchvision.markers.warming import compile_kernels_apart
from matchvision.markers.whereabouts import Whereabouts
from matchvision.records.camera import Camera
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks

#: Frames between two predictions of the markers' ellipses.
_FRAMES_A_SHAPE: Final = 12
#: So far from where it was expected a marker's place on the table follows its pixel in a straight line.
_STRAIGHT_PX: Final = 12.0
#: Contrast from which a place serves to keep a marker in view, though it may be too blurred to count as seen.
_FAINTEST: Final = 0.25
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
        self._bonds = Bonds(self._plans)
        self._where = Whereabouts(self._plans, sheet, self._bonds)
        self._looks = Appearance(self._plans, self._palette, sheet.table)
        self._correction_px = np.zeros((count, 2))
        self._on_rope = np.isin(np.arange(count), self._where.rope)
        self._notice, self._confusions = notice, tuple[str, ...]()
        self._siting: tuple[float, float] | None = None
        self._facing = np.ones(count, dtype=np.bool_)
        self._metres_per_px = np.full((count, 3, 2), np.nan)
        self._started = False
        self._seek_at_s, self._wait_s = -np.inf, _WAITS_S[0]
        self._doubt_at_s, self._doubt_wait_s = -np.inf, _WAITS_S[0]
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
            expected_m, poses = self._where.predict(frame.clip_s)
            if frame.index % _FRAMES_A_SHAPE == 0 or any(isinstance(p, LeaningPose) for p in poses.values()):
                self._refresh(camera, expected_m, poses)
            seen_px, u_px = self._measure(frame, camera, expected_m, poses)
            self._seek_lost(frame, camera, seen_px)
            if self._check_names(frame, camera, poses):
                seen_px[self._where.rope], u_px[self._where.rope] = np.nan, np.nan
        self._record.take(frame.index, frame.clip_s, seen_px, u_px)
        self._where.before_s = frame.clip_s

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
        self._looks.neutral = found.neutral
        self._seek_at_s = frame.clip_s + _WAITS_S[0]
        if not found.spots:
            return frame
        self._started = True
        self._adopt(found, camera, frame.clip_s, list(found.spots))
        self._confusions = name_confusions(self._plans, self._looks.chroma, *self._coding)
        if self._notice is not None:
            for sentence in self._confusions:
                self._notice(sentence)
        expected_m, poses = self._where.predict(frame.clip_s)
        self._refresh(camera, expected_m, poses)
        places_px = project_markers(camera.parameters, expected_m)
        self._siting = self._looks.measure_siting(frame, places_px, ~self._on_rope)
        return replace(frame, chroma_offset_px=self._siting)

    def _adopt(self, found: Found, camera: Camera, clip_s: float, columns: Sequence[int]) -> None:
        """Take over markers from a look at the whole frame as if they had been seen, and learn their colours."""
        self._looks.learn(found.blobs, found.spots, columns)
        self._where.adopt(found, camera, clip_s, columns)

    def _refresh(self, camera: Camera, expected_m: FloatArray, poses: dict[str, Pose]) -> None:
        """What changes slowly: the markers' ellipses, the rope's height, and which wheels face the camera."""
        self._looks.shape(camera, expected_m, poses)
        self._where.lay_rope(poses)
        for name, pose in poses.items():
            rims = self._where.rims[name]
            self._facing[rims] = faces_camera(camera, pose, self._where.points_of(rims))
        bare_px = project_markers(camera.parameters, expected_m)
        # A pixel to the right and a pixel down.
        there_m = self._where.place(camera, bare_px + np.array([[[0, 0]], [[1, 0]], [[0, 1]]]), poses)
        self._metres_per_px = np.moveaxis(there_m[1:] - there_m[0], 0, 2)

    def _measure(
        self, frame: Frame, camera: Camera, expected_m: FloatArray, poses: dict[str, Pose]
    ) -> tuple[FloatArray, FloatArray]:
        """Places and uncertainties (m, 2) of the markers seen, NaN elsewhere; what is known moves on."""
        where, clip_s, shift_px = self._where, frame.clip_s, self._looks.shapes.shift_px
        bare_px = project_markers(camera.parameters, expected_m)
        expected_px = bare_px + self._correction_px
        expected_px[~self._facing] = np.nan
        known = [p.kind != "rim" or where.machines[p.machine].knows_wheel(p.wheel, clip_s) for p in self._plans]
        lately = clip_s - where.seen_s < _SEEK_AFTER_S
        centres = self._looks.find(frame, expected_px + shift_px, known, lately)
        place_px = centres.place_px - shift_px
        jump_px = np.hypot(*(place_px - expected_px).T)
        place_m = expected_m + np.einsum("mij,mj->mi", self._metres_per_px, place_px - bare_px)
        off = (jump_px > _STRAIGHT_PX) | (np.isnan(place_m[:, 0]) & np.isfinite(place_px[:, 0]))
        if off.any():
            place_m[off] = where.place(camera, place_px, poses, off)
        good = is_clear(centres)
        tracked = np.isfinite(place_px[:, 0]) & (centres.contrast > _FAINTEST)
        place_m[~tracked] = np.nan
        doubted = doubt_rope(self._bonds, where.rope, place_m, jump_px)
        for name, bodies in where.bodies.items():
            place_m[[i for i in bodies if not good[i]]] = np.nan
            if where.machines[name].strained or isinstance(poses.get(name), LeaningPose):
                looked = (place_px, expected_px, place_m)
                off = self._follow_leaning(name, camera, looked, good, poses, clip_s)
                if off is not None:
                    doubted += off
                    continue
            before = len(doubted)
            doubted += doubt_bodies(self._bonds, bodies, place_m, jump_px)
            place_m[[i for i in bodies if i in doubted]] = np.nan
            doubted += where.take_machine(name, place_m, good, poses.get(name), clip_s)
            where.machines[name].strained |= len(doubted) > before
        good[doubted] = False
        tracked[doubted] = False
        where.take(place_m, tracked & (good | self._on_rope), clip_s)
        rigid = good & ~self._on_rope
        self._correction_px[rigid] += 0.3 * (place_px - expected_px)[rigid]
        self._looks.follow(frame, camera, centres, good, where.step_s(clip_s))
        return np.where(good[:, None], place_px, np.nan), np.where(good[:, None], centres.u_px, np.nan)

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
        state, expected = self._where.machines[name], poses.get(name)
        if expected is None:
            return None
        own = [*self._where.bodies[name], *self._where.rims[name]]
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
        place_m[rows] = self._where.place(camera, place_px, {name: lean.pose}, rows)
        if not leaned:
            # What was put right so far was put right for a machine that stands.
            there_m = np.full((len(self._plans), 3), np.nan)
            predict_machine(self._plans, self._where.columns[name], state, clip_s, there_m)
            self._correction_px[rows] = place_px[rows] - project_markers(camera.parameters, there_m[rows])
            expected_px[rows] = place_px[rows]
        return doubted

    def _seek_lost(self, frame: Frame, camera: Camera, seen_px: FloatArray) -> None:
        """Look over the whole frame for markers lost for a while; take those whose likes in sight agree."""
        lost = [int(i) for i in np.flatnonzero((frame.clip_s - self._where.seen_s > _SEEK_AFTER_S) & self._facing)]
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
        where, rope = self._where, self._where.rope
        if not rope or frame.clip_s < self._doubt_at_s:
            return False
        sight_m = np.where((where.seen_s == frame.clip_s)[:, None], where.last_m, np.nan)
        if not contradicts_ends(self._plans, rope, sight_m, where.ends(poses)):
            return False
        found = find_all(frame, camera, self._plans, self._sheet, self._palette)
        named = name_rope_afresh(self._plans, rope, found, camera, self._sheet, where.height_m)
        if named:
            # The names kept so far were shifted along the rope: better lost than wrong.
            self._record.strike(rope)
            where.lose(rope)
            self._adopt(found, camera, frame.clip_s, named)
        self._doubt_wait_s = min(2 * self._doubt_wait_s, _WAITS_S[1])
        self._doubt_at_s = frame.clip_s + self._doubt_wait_s
        return bool(named)
