"""The camera over the clip: one for all frames, or its pose found again in each."""

from array import array
from collections import deque
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.records.camera import Camera, Cameras, TableView
from matchvision.records.frames import Frame
from matchvision.records.growing import GrowingRows
from matchvision.records.results import StageNote
from matchvision.records.sheet import RunSheet
from matchvision.table.guessing import guess_camera
from matchvision.table.posing import TAGS_NEEDED, fit_pose
from matchvision.table.sighting import sight_edges, sight_roughly
from matchvision.table.tags import Luma, detect_tags, lay_out_tags
from matchvision.table.texture import TableTexture

#: Where the prediction errs by more than this [px] the sides are looked for again from the better pose, so many times
#: at most: a side is read from 3 px on each of its sides, of which a prediction that is off leaves too little on one.
_LOOK_AGAIN_PX, _LOOKS = 0.3, 5
#: Smallest wander of a hand-held camera in a frame, rotation [rad] and translation [m], for poses carried over.
_LEAST_WANDER = np.array([5e-4] * 3 + [1e-3] * 3)
#: Frames from which the usual wander is taken.
_LATELY: Final = 120


class CameraFollower:
    """Follows the camera through the clip, frame by frame in order of presentation.

    A still camera is one camera for all frames. One that moves has its pose found in each frame from the sides of the
    tags, its lens kept as the first look found it. A frame with fewer than two clean tags is held by the table's grain
    against the last that had them; where that fails too it keeps the pose before, and once the clip has been seen,
    `cameras` lays a straight line over such gaps and widens their uncertainty.
    """

    def __init__(self, view: TableView, sheet: RunSheet) -> None:
        self._view = view
        self._moves = sheet.camera.moves
        self._layout = lay_out_tags(sheet.table)
        self._lens = view.camera.parameters[:9]
        self._lens_covariance = view.camera.covariance[:9, :9]
        self._pose = view.camera.parameters[9:].copy()
        self._step = np.zeros(6)
        self._frames, self._noise_px = array("q"), array("d")
        # A pose, and the covariance of all parameters with it.
        self._poses, self._covariances = GrowingRows((6,)), GrowingRows((15, 15))
        self._lately: deque[FloatArray] = deque(maxlen=_LATELY)
        self._covariance = view.camera.covariance
        self._supported: list[bool] = []
        self._table = sheet.table
        self._clean: tuple[Luma, FloatArray, FloatArray] | None = None
        self._texture: TableTexture | None = None
        self._by_texture = 0

    def see(self, frame: Frame) -> Camera:
        """The camera of this frame."""
        if not self._moves:
            return self._view.camera
        found, held = self._find_pose(frame.luma), None
        if found is not None:
            pose, covariance, noise_px = found
            follows = bool(self._supported) and self._supported[-1] and self._frames[-1] == frame.index - 1
            self._step = pose - self._pose if follows else np.zeros(6)
            self._pose = pose
            self._noise_px.append(noise_px)
            self._clean, self._texture = (frame.luma, pose, covariance), None
        elif (held := self._hold_by_texture(frame.luma)) is not None:
            pose, covariance = held
            follows = bool(self._supported) and self._supported[-1] and self._frames[-1] == frame.index - 1
            self._step = pose - self._pose if follows else np.zeros(6)
            self._pose = pose
            self._by_texture += 1
        else:
            covariance = self._covariance + _widen(self._wander(), 1.0)
            self._step = np.zeros(6)
        self._frames.append(frame.index)
        self._poses.append(self._pose)
        self._covariances.append(covariance)
        self._lately.append(self._pose)
        self._covariance = covariance
        self._supported.append(found is not None or held is not None)
        return self._camera(self._pose, covariance)

    def cameras(self) -> Cameras:
        """The camera over all frames seen."""
        camera = self._view.camera
        if not self._moves or not self._frames:
            frames = np.array([self._frames[0] if self._frames else 0])
            supported = np.ones(1, dtype=bool)
            parameters, covariance = camera.parameters[None], camera.covariance[None]
            return Cameras(camera.width_px, camera.height_px, False, frames, parameters, covariance, supported)
        frames = np.array(self._frames)
        supported = np.array(self._supported)
        poses, covariance = self._poses.whole(), self._covariances.whole()
        if supported.any():
            known = np.flatnonzero(supported)
            for k in np.flatnonzero(~supported):
                poses[k] = [np.interp(frames[k], frames[known], poses[known, i]) for i in range(6)]
                nearest = known[np.argmin(np.abs(frames[known] - frames[k]))]
                covariance[k] = covariance[nearest] + _widen(self._wander(), float(abs(frames[nearest] - frames[k])))
        parameters = np.concatenate([np.tile(self._lens, (len(poses), 1)), poses], axis=1)
        return Cameras(camera.width_px, camera.height_px, True, frames, parameters, covariance, supported)

    def note(self) -> StageNote:
        """What the following came to."""
        if not self._moves:
            return StageNote("table", "done", "The camera stood still: one camera serves all frames.")
        count, carried = len(self._frames), int(np.sum(~np.array(self._supported, dtype=bool)))
        noise = float(np.median(self._noise_px)) if self._noise_px else float("nan")
        held = (
            f"{self._by_texture} of them were held by the grain of the table, for their tags were hidden; "
            if self._by_texture
            else ""
        )
        sentence = (
            f"The camera was followed through {count} frames by the tags (sides to {noise:.2f} px); {held}"
            f"{carried} frame{'s' if carried != 1 else ''} showed fewer than {TAGS_NEEDED} clean tags and "
            "took a pose between its neighbours."
        )
        if carried <= 0.02 * count:
            return StageNote("table", "done", sentence)
        return StageNote(
            "table",
            "partly",
            sentence,
            (f"In {carried} of {count} frames the camera's place is not seen but carried over.",),
            ("Keep at least two whole tags in the picture all the time, better four.",),
        )

    def _hold_by_texture(self, luma: Luma) -> tuple[FloatArray, FloatArray] | None:
        """Pose (6,) and camera covariance (15, 15) from the table's grain against the last clean picture."""
        if self._clean is None:
            return None
        picture, pose, covariance = self._clean
        if self._texture is None:
            self._texture = TableTexture(picture, np.concatenate([self._lens, pose]), self._table)
        found = self._texture.find_pose(luma, np.concatenate([self._lens, self._pose + self._step]))
        if found is None:
            return None
        whole = covariance.copy()
        whole[9:, 9:] += found[1]
        return found[0], whole

    def _camera(self, pose: FloatArray, covariance: FloatArray) -> Camera:
        size = self._view.camera
        return Camera(size.width_px, size.height_px, np.concatenate([self._lens, pose]), covariance)

    def _wander(self) -> FloatArray:
        """Typical change of the pose from frame to frame (6,)."""
        if len(self._lately) < 3:
            return 3 * _LEAST_WANDER
        steps = np.diff(np.array(self._lately), axis=0)
        return np.asarray(np.maximum(np.sqrt(np.mean(steps**2, axis=0)), _LEAST_WANDER), dtype=np.float64)

    def _find_pose(self, luma: Luma) -> tuple[FloatArray, FloatArray, float] | None:
        """Pose (6,), camera covariance (15, 15) and noise of the sides [px] from the tags of one picture."""
        found = self._refine(luma, self._pose + self._step)
        if found is not None:
            return found
        tags = detect_tags(luma, {family for family, _ in self._layout.names})
        rough = sight_roughly(self._layout, tags)
        if len(rough.points_m) < 4 * TAGS_NEEDED:
            return None
        return self._refine(luma, guess_camera(rough, self._lens)[9:])

    def _refine(self, luma: Luma, pose: FloatArray) -> tuple[FloatArray, FloatArray, float] | None:
        for _ in range(_LOOKS):
            camera = np.concatenate([self._lens, pose])
            sighting, tags = sight_edges(luma, self._layout, camera, quick=True)
            if len(tags) < TAGS_NEEDED:
                return None
            fitted = fit_pose(sighting, camera, self._lens_covariance, self._layout.u_height_m)
            if fitted is None:
                return None
            moved_px = project_points(np.concatenate([self._lens, fitted[0]]), sighting.points_m) - project_points(
                camera, sighting.points_m
            )
            if np.max(np.abs(moved_px)) < _LOOK_AGAIN_PX:
                return fitted
            pose = fitted[0]
        return fitted


def _widen(wander: FloatArray, frames: float) -> FloatArray:
    """Covariance (15, 15) for a pose carried over some frames."""
    spread = np.zeros(15)
    spread[9:] = (wander * frames) ** 2
    return np.diag(spread)
