"""Whether a camera's rows and columns stand square to each other: a lens fitted once more with its skew free.

The camera of this package has none, like every digital camera's sensor; older cameras whose picture went through an
analogue line may have some. The fit here tells whether leaving it out does harm.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import parameter_jacobian
from matchvision.table.fitting import invert_information
from matchvision.table.lens import LensFit
from matchvision.uncertainty import format_quantity

#: Numbers of a camera that belong to its lens.
_LENS = 9
#: A skew this many times its uncertainty is real.
_BEYOND_DOUBT = 4.0


@dataclass(frozen=True, eq=False)
class SkewFit:
    """A lens with skew.

    Attributes
    ----------
    lens : (9,) float array
    skew_px, u_skew_px : float
        How far columns lean: a point at unit distance below the axis is seen this many pixels further right.
    rms_px : float
        Residual over all corners, as distance [px].
    """

    lens: FloatArray
    skew_px: float
    u_skew_px: float
    rms_px: float

    @property
    def warning(self) -> str | None:
        """What to say where the skew is beyond doubt, for the lens sheet leaves it out."""
        if abs(self.skew_px) < _BEYOND_DOUBT * self.u_skew_px:
            return None
        skew = format_quantity(self.skew_px, self.u_skew_px, "px")
        return (
            f"Columns do not stand square to rows: they lean by {skew} over a focal length, which the lens sheet "
            "leaves out. See that the stills are straight from the camera, not scanned or edited, and that the board "
            "is flat."
        )


def fit_skew(fit: LensFit) -> SkewFit:
    """Refine a lens that was fitted to a board's views with one more unknown, the skew; what was held stays held.

    Parameters
    ----------
    fit : LensFit
        The lens without skew, which is the start.

    Notes
    -----
    Least squares over lens, skew and a pose a view, with col = fx x + s y + cx and row = fy y + cy for the distorted
    direction (x, y, 1): the intrinsic matrix of Z. Zhang, "A flexible new technique for camera calibration", IEEE PAMI
    22 (2000) 1330. ``u_skew_px`` is from s² (JᵀJ)⁻¹.
    Checked by: tests/published/test_calibration_plane.py::test_published_lens_with_its_skew
    """
    names = list(fit.cameras)
    spread = np.diag(fit.sheet.camera.covariance)[:_LENS]
    free = np.flatnonzero(spread > 0)
    start = np.concatenate([[0.0], fit.sheet.camera.parameters[free], *(fit.cameras[name][_LENS:] for name in names)])

    def camera_of(unknowns: FloatArray, k: int) -> FloatArray:
        camera = fit.cameras[names[k]].copy()
        camera[free] = unknowns[1 : 1 + len(free)]
        first = 1 + len(free) + 6 * k
        camera[_LENS:] = unknowns[first : first + 6]
        return camera

    def misses(unknowns: FloatArray) -> FloatArray:
        parts = []
        for k, name in enumerate(names):
            camera, view = camera_of(unknowns, k), fit.views[name]
            seen = project_points(camera, view.points_m)
            seen[:, 0] += unknowns[0] * (seen[:, 1] - camera[3]) / camera[1]
            parts.append((seen - view.pixels_px).ravel())
        return np.concatenate(parts)

    def derivatives(unknowns: FloatArray) -> FloatArray:
        blocks = []
        for k, name in enumerate(names):
            camera, points = camera_of(unknowns, k), fit.views[name].points_m
            y = (project_points(camera, points)[:, 1] - camera[3]) / camera[1]
            by_camera = parameter_jacobian(camera, points)
            by_camera[:, 0] += unknowns[0] / camera[1] * by_camera[:, 1]
            by_camera[:, 0, 1] -= unknowns[0] / camera[1] * y
            by_camera[:, 0, 3] -= unknowns[0] / camera[1]
            block = np.zeros((len(points), 2, len(unknowns)))
            block[:, 0, 0] = y
            block[..., 1 : 1 + len(free)] = by_camera[..., free]
            first = 1 + len(free) + 6 * k
            block[..., first : first + 6] = by_camera[..., _LENS:]
            blocks.append(block.reshape(-1, len(unknowns)))
        return np.concatenate(blocks)

    solved = least_squares(misses, start, jac=derivatives, x_scale="jac", method="lm", xtol=1e-14, ftol=1e-14)
    unknowns = np.asarray(solved.x, dtype=np.float64)
    squares = float(np.sum(solved.fun**2))
    jacobian = derivatives(unknowns)
    variance = squares / (len(solved.fun) - len(unknowns))
    u_skew_px = float(np.sqrt(variance * invert_information(jacobian.T @ jacobian)[0, 0]))
    rms_px = float(np.sqrt(2 * squares / len(solved.fun)))
    return SkewFit(camera_of(unknowns, 0)[:_LENS], float(unknowns[0]), u_skew_px, rms_px)
