"""What the tracks say before any height is known: lines of sight, frame by frame."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.geometry.camera import rays
from matchvision.geometry.placing import Placing, place_with_uncertainty
from matchvision.records.camera import Cameras
from matchvision.records.tracks import Tracks, TrackState

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sighting:
    """Pixels of n frames by m markers, the cameras that took them, and where each line of sight meets the table.

    Attributes
    ----------
    parameters : (n, 15) or (1, 15) float array
    covariance : (n, 15, 15) or (1, 15, 15) float array
    pixels_px, u_pixels_px : (n, m, 2) float arrays
    seen : (n, m) bool array
        True where the marker was seen; a bridged position is shown, but motion does not rest on it.
    foot_m : (n, m, 2) float array
        Where the line of sight meets the table's surface, (x, y).
    lever : (n, m, 2) float array
        How (x, y) moves with the height: place(z) = foot + lever · z.
    """

    parameters: FloatArray
    covariance: FloatArray
    pixels_px: FloatArray
    u_pixels_px: FloatArray
    seen: npt.NDArray[np.bool_]
    foot_m: FloatArray
    lever: FloatArray

    def at(self, z_m: FloatArray) -> FloatArray:
        """Places (n, m, 3) at heights (n, m) or broadcast to it."""
        z = np.broadcast_to(z_m, self.foot_m.shape[:-1])[..., None]
        return np.concatenate([self.foot_m + self.lever * z, z], axis=-1)

    def place(self, columns: list[int], z_m: FloatArray) -> Placing:
        """Places of some columns at known heights; own covariance holds the pixels' part alone."""
        return place_with_uncertainty(
            self.parameters,
            self.covariance,
            self.pixels_px[:, columns],
            self.u_pixels_px[:, columns],
            z_m,
            np.zeros(1),
        )


def sight_markers(tracks: Tracks, cameras: Cameras) -> Sighting:
    """Lines of sight of every marker in every frame; a moving camera's pose is taken frame by frame."""
    if cameras.moves:
        row = np.clip(np.searchsorted(cameras.frame, tracks.frame), 0, len(cameras.frame) - 1)
    else:
        row = np.zeros(1, dtype=np.int64)
    parameters, covariance = cameras.parameters[row], cameras.covariance[row]
    pixels = np.stack([tracks.col_px, tracks.row_px], axis=-1)
    centre, direction = rays(parameters[:, None, :], pixels)
    fall = np.where(np.abs(direction[..., 2]) > 1e-9, direction[..., 2], np.nan)
    lever = direction[..., :2] / fall[..., None]
    foot = centre[..., :2] - lever * centre[..., 2:]
    return Sighting(
        parameters=parameters,
        covariance=covariance,
        pixels_px=pixels,
        u_pixels_px=np.stack([tracks.u_col_px, tracks.u_row_px], axis=-1),
        seen=np.asarray(tracks.state == TrackState.SEEN),
        foot_m=foot,
        lever=lever,
    )


def spread_from_camera(jacobian: FloatArray, covariance: FloatArray) -> FloatArray:
    """Covariance (n, k, k) that the camera gives to k quantities with derivatives (n, k, 15)."""
    return np.asarray(jacobian @ covariance @ np.swapaxes(jacobian, -1, -2))
