"""What the tracks say before any height is known: lines of sight, frame by frame."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import rays, rotation_matrix
from matchvision.geometry.placing import (
    Placing,
    PlanePlacing,
    place_on_plane_with_uncertainty,
    place_with_uncertainty,
)
from matchvision.motion.shutter import bring_to_frame_time
from matchvision.motion.surface import raise_above
from matchvision.records.camera import Cameras
from matchvision.records.footage import RowTiming
from matchvision.records.profile import Profile
from matchvision.records.tracks import Tracks

#: Parameters of the lens come first, then those of the pose.
LENS_PARAMETERS = 9
#: Tags lie on paper or card: their common height above the table, which all poses share, is known no better than this.
U_COMMON_HEIGHT_M = 0.0003


@dataclass(frozen=True, eq=False)
class Sighting:
    """Pixels of n frames by m markers, the cameras that took them, and where each line of sight meets the table.

    Attributes
    ----------
    parameters : (n, 15) or (1, 15) float array
    whole_covariance : (n, 15, 15) or (1, 15, 15) float array
        The cameras' whole covariance.
    covariance : (15, 15) float array
        The part that all frames have in common, acting through `common` derivatives.
    own_covariance : (n, 15, 15) float array or None
        The part that is new in every frame: a moving camera's poses beyond what they share through the lens.
    follows_lens : (n, 15, 15) float array or None
        How lens and pose of each frame answer to what is common: the lens, and as the last the tags' height.
    profile_m : the table's height profile
    pixels_px, u_pixels_px : (n, m, 2) float arrays
        Where the markers are at the frames' times, a rolling shutter undone.
    seen : (n, m) bool array
        True where the marker was seen; a bridged position is shown, but motion does not rest on it.
    foot_m : (n, m, 2) float array
        Where the line of sight meets the table's surface, (x, y).
    lever : (n, m, 2) float array
        How (x, y) moves with the height: place(z) = foot + lever · z.
    """

    parameters: FloatArray
    whole_covariance: FloatArray
    covariance: FloatArray
    own_covariance: FloatArray | None
    follows_lens: FloatArray | None
    profile_m: Profile
    pixels_px: FloatArray
    u_pixels_px: FloatArray
    seen: npt.NDArray[np.bool_]
    foot_m: FloatArray
    lever: FloatArray

    def at(self, columns: list[int], z_m: FloatArray) -> FloatArray:
        """Places (n, k, 3) of some columns at heights (n, k)."""
        z = z_m[..., None]
        return np.concatenate([self.foot_m[:, columns] + self.lever[:, columns] * z, z], axis=-1)

    def above(self, columns: list[int], above_m: FloatArray) -> FloatArray:
        """Heights (n, k) of some columns that are so far above the table's surface."""
        return raise_above(self.profile_m, self.foot_m[:, columns], self.lever[:, columns], above_m)

    def place(self, columns: list[int], z_m: FloatArray) -> Placing:
        """Places of some columns at known heights; own covariance holds the pixels' part alone."""
        return place_with_uncertainty(
            self.parameters,
            self.whole_covariance,
            self.pixels_px[:, columns],
            self.u_pixels_px[:, columns],
            z_m,
            np.zeros(1),
        )

    def place_on(
        self, columns: list[int], point_m: FloatArray, normal: FloatArray, u_offset_m: FloatArray
    ) -> PlanePlacing:
        """Places of some columns on planes of any tilt, (n, k, 3) points and normals or broadcast to it."""
        return place_on_plane_with_uncertainty(
            self.parameters,
            self.whole_covariance,
            self.pixels_px[:, columns],
            self.u_pixels_px[:, columns],
            point_m,
            normal,
            u_offset_m,
        )

    def common(self, jacobian: FloatArray) -> FloatArray:
        """Derivatives (n, ..., 15) by what the frames have in common, from those by each frame's camera."""
        if self.follows_lens is None:
            return jacobian
        between = (1,) * (jacobian.ndim - 3)
        return np.asarray(jacobian @ self.follows_lens.reshape(len(self.follows_lens), *between, 15, 15))

    def own_spread(self, jacobian: FloatArray) -> FloatArray:
        """Covariance (n, ..., k, k) that is new in each frame, of quantities with derivatives (n, ..., k, 15)."""
        if self.own_covariance is None:
            return np.zeros((*jacobian.shape[:-1], jacobian.shape[-2]))
        between = (1,) * (jacobian.ndim - 3)
        own = self.own_covariance.reshape(len(self.own_covariance), *between, 15, 15)
        return np.asarray(jacobian @ own @ np.swapaxes(jacobian, -1, -2))


def sight_markers(
    tracks: Tracks, cameras: Cameras, real_s: FloatArray, profile_m: Profile = (), rows: RowTiming | None = None
) -> Sighting:
    """Lines of sight of every marker in every frame; a moving camera's pose is taken frame by frame.

    Parameters
    ----------
    real_s : (n,) float array
        The frames' real times.
    rows : RowTiming, optional
        How a rolling shutter read the pictures.
    """
    own = follows = None
    if cameras.moves:
        row = np.clip(np.searchsorted(cameras.frame, tracks.frame), 0, len(cameras.frame) - 1)
        covariance, own, follows = split_covariance(cameras.covariance[row], cameras.parameters[row])
    else:
        row = np.zeros(1, dtype=np.int64)
        covariance = cameras.covariance[0]
    parameters = cameras.parameters[row]
    pixels = np.stack([tracks.col_px, tracks.row_px], axis=-1)
    u_pixels = np.stack([tracks.u_col_px, tracks.u_row_px], axis=-1)
    if rows is not None:
        # A clip that was turned is read column by column, or backwards.
        turn = slice(None, None, -1 if rows.along == 0 else 1)
        length_px = (cameras.width_px, cameras.height_px)[rows.along]
        readout_s = -rows.readout_s if rows.backwards else rows.readout_s
        moved = bring_to_frame_time(pixels[..., turn], u_pixels[..., turn], real_s, length_px, readout_s)
        pixels, u_pixels = (m[..., turn] for m in moved)
    centre, direction = rays(parameters[:, None, :], pixels)
    fall = np.where(np.abs(direction[..., 2]) > 1e-9, direction[..., 2], np.nan)
    lever = direction[..., :2] / fall[..., None]
    foot = centre[..., :2] - lever * centre[..., 2:]
    return Sighting(
        parameters=parameters,
        whole_covariance=cameras.covariance[row],
        covariance=covariance,
        own_covariance=own,
        follows_lens=follows,
        profile_m=profile_m,
        pixels_px=pixels,
        u_pixels_px=u_pixels,
        seen=tracks.measured,
        foot_m=foot,
        lever=lever,
    )


def split_covariance(
    covariance: FloatArray, parameters: FloatArray, u_height_m: float = U_COMMON_HEIGHT_M
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A moving camera's covariances (n, 15, 15) as a common part and parts new in each frame.

    Parameters
    ----------
    parameters : (n, 15) float array
    u_height_m : float
        How well the common height of the tags is known, which the poses' covariances hold as well.

    Returns
    -------
    common : (15, 15) float array
        Of the lens and, as the last, the height of the tags [m].
    own : (n, 15, 15) float array
        Of the poses, these being given.
    follows : (n, 15, 15) float array
        Derivatives of lens and pose by them.

    Notes
    -----
    With L the lens's covariance and K that between pose and lens, the pose follows the lens as G = K L⁻¹ and keeps
    C_pose − G L Gᵀ of its own: the regression of one part of a normal vector on another. A height h of the tags moves
    the pose by h g, g being the table's upright in the camera; h² g gᵀ is taken out as far as it is in there, which is
    up to 1 / (gᵀ C⁻¹ g).
    Checked by: tests/derived/test_moving_camera.py::test_parts_add_up
    """
    k = LENS_PARAMETERS
    lens = covariance[:, :k, :k].mean(axis=0)
    # Scaled, since focal lengths and distortion differ in size by many decades; a lens held fixed has no inverse.
    size = np.sqrt(np.diag(lens))
    scale = np.where(size > 0, size, 1.0)
    inverse = np.linalg.pinv(lens / np.outer(scale, scale), rcond=1e-10, hermitian=True) / np.outer(scale, scale)
    follows = covariance[:, k:, :k] @ inverse
    common, own = np.zeros((15, 15)), np.zeros_like(covariance)
    common[:k, :k] = lens
    left = covariance[:, k:, k:] - follows @ lens @ np.swapaxes(follows, -1, -2)
    answer = np.zeros_like(covariance)
    answer[:, :k, :k] = np.eye(k)
    answer[:, k:, :k] = follows
    upright = np.concatenate(
        [np.zeros((len(parameters), 3)), rotation_matrix(parameters[:, k : k + 3])[..., 2]], axis=1
    )
    answer[:, k:, -1] = upright
    room = 1.0 / np.einsum("ni,nij,nj->n", upright, np.linalg.pinv(left, rcond=1e-12, hermitian=True), upright)
    common[-1, -1] = min(u_height_m**2, float(np.median(room)))
    left = left - common[-1, -1] * upright[:, :, None] * upright[:, None, :]
    value, axes = np.linalg.eigh(0.5 * (left + np.swapaxes(left, -1, -2)))
    own[:, k:, k:] = (axes * np.maximum(value, 0.0)[:, None, :]) @ np.swapaxes(axes, -1, -2)
    return common, own, answer


def spread_from_camera(jacobian: FloatArray, covariance: FloatArray) -> FloatArray:
    """Covariance (n, k, k) that the camera gives to k quantities with derivatives (n, k, 15)."""
    return np.asarray(jacobian @ covariance @ np.swapaxes(jacobian, -1, -2))
