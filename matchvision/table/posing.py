"""The pose of one picture of a camera whose lens is known."""

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import parameter_jacobian
from matchvision.table.fitting import BLEED_PX, U_BLEED_PX, invert_information, raise_frame
from matchvision.table.noise import NOISE_WORTH, U_TAG_HEIGHT_M, NoiseScale, Sighting, keep_points, noise_parts

#: Tags that a picture must show for its pose to count as seen: the tilt from a single one is a guess.
TAGS_NEEDED = 2
#: A tag whose corners are further off than this many times the others', and than this [px], is covered or blurred.
_OFF_TIMES, _OFF_PX = 4.0, 0.5


def fit_pose(
    sighting: Sighting, camera: FloatArray, lens_covariance: FloatArray, u_height_m: float = U_TAG_HEIGHT_M
) -> tuple[FloatArray, FloatArray, float] | None:
    """Pose and bleed of one picture for a known lens.

    Parameters
    ----------
    sighting : Sighting
        Tag corners only.
    camera : (15,) float array
        The known lens and a pose right to a few pixels.
    lens_covariance : (9, 9) float array
    u_height_m : float
        How well the tags' common height is known.

    Returns
    -------
    pose (6,), covariance (15, 15) of the camera, noise of a tag side [px]; None where fewer than two tags agree.

    Notes
    -----
    One Gauss–Newton step, weighted by the corners' covariance: from a pose known to a few pixels a second one changes
    nothing. With A and B the derivatives of the pixels by pose and lens and W the weight, the pose follows the lens as
    G = −(AᵀWA)⁻¹AᵀWB, so its covariance is (AᵀWA)⁻¹ + G C_lens Gᵀ, and G C_lens goes between the two.
    """
    solved = _Solution(sighting, camera)
    off = (solved.apart_px > _OFF_TIMES * np.median(solved.apart_px)) & (solved.apart_px > _OFF_PX)
    if off.any():
        if np.sum(~off) < TAGS_NEEDED:
            return None
        solved = _Solution(keep_points(sighting, np.repeat(~off, 4)), camera)
    ratio = max(1.0, solved.noise_ratio**2)
    whole = np.zeros((15, 15))
    whole[:9, :9] = lens_covariance
    whole[9:, :9] = solved.follows_lens @ lens_covariance
    whole[:9, 9:] = whole[9:, :9].T
    whole[9:, 9:] = solved.covariance[:6, :6] * ratio + solved.follows_lens @ lens_covariance @ solved.follows_lens.T
    pose = camera[9:] + solved.step[:6]
    whole = raise_frame(np.concatenate([camera[:9], pose]), whole, u_height_m)
    return pose, whole, float(np.mean(sighting.u_px)) * solved.noise_ratio


class _Solution:
    """Step of pose and bleed (7,), its covariance, how the pose follows the lens, and what is left."""

    def __init__(self, sighting: Sighting, camera: FloatArray) -> None:
        by_camera = np.einsum("pij,pjk->pik", sighting.directions, parameter_jacobian(camera, sighting.points_m))
        by_camera = by_camera.reshape(-1, 15)
        apart = sighting.pixels_px - project_points(camera, sighting.points_m)
        apart = np.einsum("pij,pj->pi", sighting.directions, apart).ravel()
        design = np.column_stack([by_camera[:, 9:], np.ones(len(apart))])
        white = np.linalg.inv(np.linalg.cholesky(np.sum(noise_parts(sighting, camera, NoiseScale()), axis=0)))
        design_white, apart_white = white @ design, white @ apart
        information = design_white.T @ design_white
        information[6, 6] += 1 / U_BLEED_PX**2
        pull = design_white.T @ apart_white
        pull[6] += BLEED_PX / U_BLEED_PX**2
        self.covariance = invert_information(information)
        self.step = self.covariance @ pull
        self.follows_lens = -(self.covariance @ (design_white.T @ (white @ by_camera[:, :9])))[:6]
        left = apart - design @ self.step
        self.apart_px = np.sqrt(np.mean(left.reshape(-1, 8) ** 2, axis=1))
        squares = float(np.sum((apart_white - design_white @ self.step) ** 2))
        self.noise_ratio = float(np.sqrt((NOISE_WORTH + squares) / (NOISE_WORTH + len(apart) - 7)))
