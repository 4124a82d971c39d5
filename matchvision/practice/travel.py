"""How far a machine has come, straight from its markers, so that the camera's error can be followed to the end."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import CannotMeasure
from matchvision.geometry.camera import place_on_plane
from matchvision.geometry.profile import surface_slope
from matchvision.practice.budgets import Part
from matchvision.records.camera import Cameras
from matchvision.records.motion import Motion

#: How well a sheet states the height of a marker on a machine [m]: a rule's half millimetre.
U_MARKER_HEIGHT_M: Final = 0.0005
#: Fewer frames leave no way to speak of.
FEWEST_FRAMES: Final = 15


@dataclass(frozen=True, eq=False)
class Trail:
    """A machine's markers in k frames, each on a plane of its own at its known height.

    Attributes
    ----------
    real_s : (k,) float array
    frames : (n,) bool array, the frames of the run that these are.
    pixels, point_m, normal : (k, m, 2), (k, m, 3), (3,) float arrays
    parameters : (1, 15) or (k, 15) float array
    covariance : (15, 15) float array, what all frames have in common.
    forward : (3,) float array, the way along the surface that it goes.
    """

    real_s: FloatArray
    frames: BoolArray
    pixels: FloatArray
    point_m: FloatArray
    normal: FloatArray
    parameters: FloatArray
    covariance: FloatArray
    forward: FloatArray

    def way(self, shift: FloatArray | None = None, raised_m: float = 0.0) -> FloatArray:
        """Way along ``forward`` (k,) [m], the mean of the markers; under another camera or other marker heights."""
        parameters = self.parameters if shift is None else self.parameters + shift
        places = place_on_plane(
            parameters[:, None],
            self.pixels,
            self.point_m + raised_m * self.normal,
            np.broadcast_to(self.normal, self.point_m.shape),
        )
        return np.asarray((places @ self.forward).mean(axis=1), dtype=np.float64)

    def parts(self, estimate: Callable[[FloatArray], float]) -> list[Part]:
        """What camera and marker heights add to a number that is had from the way.

        Notes
        -----
        The camera's covariance is taken apart into its principal directions, and the whole estimate is made anew at
        one standard uncertainty to either side along each: exact to second order, whatever the estimate.
        """
        size, axes = np.linalg.eigh(self.covariance)
        steps = [np.sqrt(s) * axis for s, axis in zip(size, axes.T, strict=True) if s > 0]
        by_camera = [(estimate(self.way(step)) - estimate(self.way(-step))) / 2 for step in steps]
        by_height = (estimate(self.way(None, U_MARKER_HEIGHT_M)) - estimate(self.way(None, -U_MARKER_HEIGHT_M))) / 2
        return [
            Part("camera", float(np.sqrt(np.sum(np.square(by_camera))))),
            Part("height of the markers", abs(by_height), value=0.0, u_value=U_MARKER_HEIGHT_M, value_unit="m"),
        ]


def follow(
    machine: str, motion: Motion, cameras: Cameras, profile_m: tuple[tuple[float, float], ...], wanted: BoolArray
) -> Trail:
    """The markers of a machine in the frames wanted in which all of them are seen; else the one that is seen most.

    Raises
    ------
    CannotMeasure
        Where it shows no marker, or in too few frames.
    """
    plans = motion.tracks.plans
    columns = [
        k for k, plan in enumerate(plans) if plan.machine == machine and plan.kind == "body" and not plan.on_reach
    ]
    seen = np.isfinite(motion.tracks.col_px) & np.isfinite(motion.places.x_m) & wanted[:, None]
    together = seen[:, columns].all(axis=1) & bool(columns)
    if columns and together.sum() < wanted.sum() / 2:  # the one seen most says more than the few frames with all
        columns = [max(columns, key=lambda column: int(seen[:, column].sum()))]
    frames = np.asarray(seen[:, columns].all(axis=1) & bool(columns), dtype=np.bool_)
    if frames.sum() < FEWEST_FRAMES:
        raise CannotMeasure(
            f"the markers of {machine} were seen in {int(frames.sum())} frames of the part that counts",
            do="film it closer, with its markers in view all the way",
        )
    places = motion.places
    points = np.stack([values[frames][:, columns] for values in (places.x_m, places.y_m, places.z_m)], axis=-1)
    slope = float(np.median(surface_slope(profile_m, points[..., 0].mean(axis=1)))) if profile_m else 0.0
    normal = np.array([-slope, 0.0, 1.0]) / np.hypot(slope, 1.0)
    chord = points[-1].mean(axis=0) - points[0].mean(axis=0)
    chord = chord - (chord @ normal) * normal
    cut = slice(None) if cameras.moves else slice(0, 1)
    index = np.searchsorted(cameras.frame, motion.frame[frames]) if cameras.moves else np.array([0])
    index = np.minimum(index, len(cameras.parameters) - 1)
    pixels = np.stack([motion.tracks.col_px[frames][:, columns], motion.tracks.row_px[frames][:, columns]], axis=-1)
    return Trail(
        motion.real_s[frames], frames, pixels, points, normal, cameras.parameters[index][cut],
        np.asarray(cameras.covariance[0]), chord / max(float(np.linalg.norm(chord)), 1e-9),
    )  # fmt: skip
