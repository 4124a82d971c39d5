"""First guesses of the camera, good enough for the fit to start from."""

from collections.abc import Sequence

import cv2
import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import TableError
from matchvision.geometry.camera import project_points, rotation_matrix
from matchvision.table.fitting import LensPrior, fit_cameras
from matchvision.table.noise import Sighting

#: Focal lengths tried, as shares of the longer side.
FOCAL_GUESSES = (0.77, 0.6, 1.0, 0.45, 1.4, 2.0)
#: A first fit that leaves no more than this [px] has found the right valley.
_GOOD_PX = 3.0


def guess_camera(sighting: Sighting, lens: FloatArray) -> FloatArray:
    """Camera (15,) whose pose fits the points best for a lens (9,); from above the table if any does.

    Raises
    ------
    TableError
        When the points cannot fix a pose.
    """
    points = np.ascontiguousarray(sighting.points_m)
    spread = np.linalg.svd(points - np.mean(points, axis=0), compute_uv=False)
    candidates: list[tuple[bool, float, FloatArray]] = []
    if spread[1] > 1e-6 * spread[0]:
        matrix = np.array([[lens[0], 0, lens[2]], [0, lens[1], lens[3]], [0, 0, 1.0]])
        pixels = np.ascontiguousarray(sighting.pixels_px)
        # The general solver now and then returns nonsense for points in one plane; the solver for planes does not.
        way = cv2.SOLVEPNP_IPPE if spread[2] < 1e-6 * spread[0] else cv2.SOLVEPNP_SQPNP
        _, turns, shifts, _ = cv2.solvePnPGeneric(points, pixels, matrix, lens[4:9], flags=way)
        for turn, shift in zip(turns, shifts, strict=True):
            camera = np.concatenate([lens, np.ravel(turn), np.ravel(shift)]).astype(np.float64)
            rms_px = float(np.sqrt(np.mean((project_points(camera, points) - pixels) ** 2)))
            if np.isfinite(rms_px):
                candidates.append((camera_height_m(camera) <= 0, rms_px, camera))
    if not candidates:
        raise TableError(
            "no camera position fits the points on the table",
            where="[table]",
            do="check that the points are not on one line, that at_m and pixel belong together, that none are swapped",
        )
    return min(candidates, key=lambda candidate: candidate[:2])[2]


def first_cameras(sightings: Sequence[Sighting], prior: LensPrior, longer_px: int) -> FloatArray:
    """Cameras (v, 15) fitted to what was seen, from several focal lengths where the lens is unknown.

    From a wrong focal length the fit may end in a wrong valley, so the best of several starts counts.
    """
    lenses = [prior.mean]
    if prior.log_focal:
        lenses = [np.concatenate([[share * longer_px] * 2, prior.mean[2:]]) for share in FOCAL_GUESSES]
    best, best_px = None, np.inf
    for lens in lenses:
        start = np.array([guess_camera(s, lens) for s in sightings])
        fit = fit_cameras(sightings, start, prior)
        rms_px = float(np.sqrt(np.mean(np.concatenate(fit.residuals) ** 2)))
        if best is None or rms_px < best_px:
            best, best_px = fit.parameters, rms_px
        if best_px < _GOOD_PX:
            break
    return best if best is not None else np.empty((0, 15))


def camera_height_m(camera: FloatArray) -> float:
    """Height [m] of a camera's (15,) optical centre above the table frame's origin."""
    return float(-(rotation_matrix(camera[9:12]).T @ camera[12:15])[2])
