"""The camera that fits all corners and clicks at once, by least squares under priors, with its whole covariance.

What the picture cannot tell stays free under a prior of plausible size, so that it enters the covariance instead of
hiding: the principal point, the aspect, every distortion term. A fit that held them fixed would state 0.3 mm and be
2 mm off.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from matchvision.geometry.camera import project_points, rotation_matrix
from matchvision.geometry.placing import direction_jacobian, parameter_jacobian

FloatArray = npt.NDArray[np.float64]

#: Error of a tag side as seen, before the fit learns better [px].
EDGE_NOISE_PX = 0.08
#: How far both ends of one side err together.
_SIDE_CORRELATION = 0.5
#: How well a tag's place on the table is known when it was laid with care [m].
U_TAG_PLACE_M = 0.0003
#: Printed tags lie on paper or card: their common height above the table is known no better than this [m].
U_TAG_HEIGHT_M = 0.0005
#: What the expected noise is worth, in residuals, against what the fit finds.
NOISE_WORTH = 4.0
#: Light paper bleeds into black by about this much [px], and this much differently from clip to clip.
BLEED_PX, U_BLEED_PX = 0.2, 0.3
_INTRINSIC = 9
#: Residual that stands for a point behind the camera.
_FAR = 1e4


@dataclass(frozen=True, eq=False)
class LensPrior:
    """What is known about the lens before the table is seen, as whitened linear conditions.

    ``whitening @ (intrinsics − mean)`` has unit variance; the focal length enters by its logarithm where
    ``log_focal`` is set, because "half or twice" is what one knows about it.
    """

    mean: FloatArray
    whitening: FloatArray
    log_focal: bool

    def residuals(self, intrinsics: FloatArray) -> FloatArray:
        """Departure from what is known, in standard deviations."""
        return np.asarray(self.whitening @ (self._coordinates(intrinsics) - self.mean), dtype=np.float64)

    def jacobian(self, intrinsics: FloatArray) -> FloatArray:
        """Derivatives of `residuals`."""
        inner = np.eye(_INTRINSIC)
        if self.log_focal:
            fx, fy = intrinsics[:2]
            inner[0, 0] = 1 / fx
            inner[1, :2] = -1 / fx, 1 / fy
        return np.asarray(self.whitening @ inner, dtype=np.float64)

    def _coordinates(self, intrinsics: FloatArray) -> FloatArray:
        if not self.log_focal:
            return intrinsics
        changed = intrinsics.copy()
        changed[0] = np.log(intrinsics[0])
        changed[1] = np.log(intrinsics[1] / intrinsics[0])
        return changed


def phone_prior(width_px: int, height_px: int) -> LensPrior:
    """Prior for a camera that nobody calibrated.

    Focal length 0.77 of the longer side within a factor of e^±0.35 (from wide to portrait lenses), pixels square to
    0.2 %, principal point within 1 % of the longer side of the middle, radial terms 0.1, 0.03 and 0.01, tangential ones
    0.0005. All are standard deviations.
    """
    longer = float(max(width_px, height_px))
    mean = np.array([np.log(0.77 * longer), 0.0, (width_px - 1) / 2, (height_px - 1) / 2, 0, 0, 0, 0, 0])
    spread = np.array([0.35, 0.002, 0.01 * longer, 0.01 * longer, 0.1, 0.03, 0.0005, 0.0005, 0.01])
    return LensPrior(mean, np.diag(1 / spread), log_focal=True)


def sheet_prior(parameters: FloatArray, covariance: FloatArray) -> LensPrior:
    """Prior from a lens sheet: its lens under its covariance; what the sheet held fixed stays fixed."""
    intrinsics = np.asarray(parameters[:_INTRINSIC], dtype=np.float64)
    tight = np.array([1e-3, 1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6])
    spread = np.asarray(covariance[:_INTRINSIC, :_INTRINSIC], dtype=np.float64) + np.diag(tight**2)
    # Whitened in units of each parameter's own spread: the raw matrix spans twelve powers of ten.
    scale = np.sqrt(np.diag(spread))
    values, vectors = np.linalg.eigh(spread / np.outer(scale, scale))
    whitening = (vectors / np.sqrt(np.maximum(values, 1e-9))).T / scale
    return LensPrior(intrinsics, whitening, log_focal=False)


@dataclass(frozen=True, eq=False)
class Sighting:
    """Known points as one picture shows them, p of them.

    Attributes
    ----------
    points_m : (p, 3) float array
    pixels_px : (p, 2) float array
    directions : (p, 2, 2) float array
        Two unit vectors in whose directions each point is located: the normals of a tag corner's two sides, or the
        picture's axes for a click.
    u_px : (p,) float array
        Standard uncertainty in each of these directions, before the fit has its say.
    from_edges : (p,) bool array
        Corners of tags, which stand first, four a tag: they share the bleed, and their noise level is learnt.
    """

    points_m: FloatArray
    pixels_px: FloatArray
    directions: FloatArray
    u_px: FloatArray
    from_edges: npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class CameraFit:
    """A fitted camera, or several that share one lens.

    Attributes
    ----------
    parameters : (v, 15) float array
        One row a picture.
    covariance : (v, 15, 15) float array
    bleed_px, u_bleed_px : float
        How far light paper eats into the black border.
    noise_px : float
        Noise of a tag side, as the fit found it.
    click_ratio : float
        How many times worse than stated the clicks are; at least 1.
    residuals : v arrays (p, 2)
        Seen less projected, bleed taken out, along each point's two directions [px].
    expected_px : v arrays (p, 2)
        Expected size of these.
    freedom : float
        Residuals beyond what was fitted.
    """

    parameters: FloatArray
    covariance: FloatArray
    bleed_px: float
    u_bleed_px: float
    noise_px: float
    click_ratio: float
    residuals: tuple[FloatArray, ...]
    expected_px: tuple[FloatArray, ...]
    freedom: float


def noise_matrix(sighting: Sighting, camera: FloatArray, scale: tuple[float, float]) -> FloatArray:
    """Covariance (2p, 2p) [px²] of what is located, along each point's two directions.

    The errors of a tag's corners are not independent: both ends of a side err together, for one line was fitted, and
    a tag laid half a millimetre off takes all its corners along.
    """
    u_px = np.repeat(sighting.u_px * np.where(sighting.from_edges, *scale), 2)
    correlation = np.eye(len(u_px))
    tags = int(np.sum(sighting.from_edges)) // 4
    corner = 4 * np.arange(tags)[:, None] + np.arange(4)
    begins, ends = 2 * corner + 1, 2 * np.roll(corner, -1, axis=1)
    correlation[begins, ends] = correlation[ends, begins] = _SIDE_CORRELATION
    noise = correlation * np.outer(u_px, u_px)
    if tags:
        points = sighting.points_m[: 4 * tags]
        axes = (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
        moved = np.stack([direction_jacobian(camera, points, axis) for axis in axes], axis=-1)
        along = np.nan_to_num(np.einsum("pij,pjk->pik", sighting.directions[: 4 * tags], moved))
        along = along.reshape(tags, 8, 2) * U_TAG_PLACE_M
        for k, lever in enumerate(along):
            noise[8 * k : 8 * k + 8, 8 * k : 8 * k + 8] += lever @ lever.T
    return noise


class _Problem:
    """Residuals and derivatives of all pictures, for unknowns [9 lens, bleed, 6 pose a picture]."""

    def __init__(
        self, sightings: Sequence[Sighting], prior: LensPrior, scale: tuple[float, float], unknowns: FloatArray
    ) -> None:
        self.sightings = sightings
        self.prior = prior
        self.noise = [noise_matrix(s, self.camera(unknowns, k), scale) for k, s in enumerate(sightings)]
        # One picture more does not make the corners better: their errors stay from frame to frame.
        share = 1 / np.sqrt(len(sightings))
        self.whitening = [share * np.linalg.inv(np.linalg.cholesky(noise)) for noise in self.noise]

    def camera(self, unknowns: FloatArray, k: int) -> FloatArray:
        pose = unknowns[_INTRINSIC + 1 + 6 * k : _INTRINSIC + 7 + 6 * k]
        return np.concatenate([unknowns[:_INTRINSIC], pose])

    def misfit(self, unknowns: FloatArray, k: int) -> FloatArray:
        """Seen less projected along each point's directions (p, 2), bleed taken out [px]."""
        s = self.sightings[k]
        apart = s.pixels_px - project_points(self.camera(unknowns, k), s.points_m)
        along = np.einsum("pij,pj->pi", s.directions, apart)
        along = along - unknowns[_INTRINSIC] * s.from_edges[:, None]
        return np.asarray(np.nan_to_num(along, nan=_FAR), dtype=np.float64)

    def residuals(self, unknowns: FloatArray) -> FloatArray:
        parts = [white @ self.misfit(unknowns, k).ravel() for k, white in enumerate(self.whitening)]
        bleed = (unknowns[_INTRINSIC] - BLEED_PX) / U_BLEED_PX
        return np.concatenate([*parts, self.prior.residuals(unknowns[:_INTRINSIC]), [bleed]])

    def misfit_jacobian(self, unknowns: FloatArray, k: int) -> FloatArray:
        """Derivatives (2p, unknowns) of `misfit`."""
        s = self.sightings[k]
        by_pixel = -np.einsum("pij,pjk->pik", s.directions, parameter_jacobian(self.camera(unknowns, k), s.points_m))
        by_camera = np.nan_to_num(by_pixel).reshape(-1, 15)
        block = np.zeros((len(by_camera), len(unknowns)))
        block[:, :_INTRINSIC] = by_camera[:, :_INTRINSIC]
        block[:, _INTRINSIC] = -np.repeat(s.from_edges.astype(np.float64), 2)
        block[:, _INTRINSIC + 1 + 6 * k : _INTRINSIC + 7 + 6 * k] = by_camera[:, _INTRINSIC:]
        return block

    def jacobian(self, unknowns: FloatArray) -> FloatArray:
        blocks = [white @ self.misfit_jacobian(unknowns, k) for k, white in enumerate(self.whitening)]
        known = np.zeros((_INTRINSIC + 1, len(unknowns)))
        known[:_INTRINSIC, :_INTRINSIC] = self.prior.jacobian(unknowns[:_INTRINSIC])
        known[_INTRINSIC, _INTRINSIC] = 1 / U_BLEED_PX
        return np.concatenate([*blocks, known])


def fit_cameras(
    sightings: Sequence[Sighting], start: FloatArray, prior: LensPrior, u_height_m: float = 0.0
) -> CameraFit:
    """Fit one lens, one bleed and a pose a picture to everything seen.

    Parameters
    ----------
    sightings : sequence of v Sightings
    start : (v, 15) float array
        First guess.
    prior : LensPrior
    u_height_m : float
        Standard uncertainty of the height at which all known points lie together, such as the thickness of the paper:
        the points do not show it, it only moves the frame up.

    Notes
    -----
    Least squares with priors, so the covariance is (JᵀJ)⁻¹ of the whitened problem. The noise of the tags' sides is
    learnt: s² = (ν0 s0² + Σ r²) / (ν0 + ν), a scaled inverse chi-squared update with ν0 = 4 residuals' worth of
    expectation; clicks are taken as stated unless they fit worse. With several pictures the corners' errors are taken
    as common to all, so the lens does not look better for it.
    Checked by: tests/derived/test_camera_honesty.py::test_stated_uncertainty_holds_the_truth
    """
    unknowns = np.concatenate([start[0, :_INTRINSIC], [BLEED_PX], start[:, _INTRINSIC:].ravel()])
    scale = (1.0, 1.0)
    for _ in range(4):
        problem = _Problem(sightings, prior, scale, unknowns)
        solved = least_squares(problem.residuals, unknowns, jac=problem.jacobian, x_scale="jac", method="lm")
        unknowns = np.asarray(solved.x, dtype=np.float64)
        scale, freedom = _learn_noise(problem, unknowns, scale)
    problem = _Problem(sightings, prior, scale, unknowns)
    jacobian = problem.jacobian(unknowns)
    covariance = invert_information(jacobian.T @ jacobian)
    parameters, covariances, residuals, expected = [], [], [], []
    for k, noise in enumerate(problem.noise):
        at = np.r_[0:_INTRINSIC, _INTRINSIC + 1 + 6 * k : _INTRINSIC + 7 + 6 * k]
        camera = problem.camera(unknowns, k)
        parameters.append(camera)
        covariances.append(raise_frame(camera, covariance[np.ix_(at, at)], u_height_m))
        residuals.append(problem.misfit(unknowns, k))
        mine = problem.misfit_jacobian(unknowns, k)
        taken = np.einsum("ij,jk,ik->i", mine, covariance, mine)
        left = np.maximum(np.diag(noise) - taken, 1e-6 * np.diag(noise))
        expected.append(np.sqrt(left).reshape(-1, 2))
    edges = [s.u_px[s.from_edges] for s in sightings]
    noise_px = float(np.mean(np.concatenate(edges))) * scale[0] if any(len(e) for e in edges) else 0.0
    return CameraFit(
        np.array(parameters),
        np.array(covariances),
        float(unknowns[_INTRINSIC]),
        float(np.sqrt(covariance[_INTRINSIC, _INTRINSIC])),
        noise_px,
        scale[1],
        tuple(residuals),
        tuple(expected),
        freedom,
    )


def _learn_noise(
    problem: _Problem, unknowns: FloatArray, scale: tuple[float, float]
) -> tuple[tuple[float, float], float]:
    """Noise of edges and of clicks against what was expected, and the residuals beyond what was fitted."""
    jacobian = problem.jacobian(unknowns)
    covariance = invert_information(jacobian.T @ jacobian)
    whitened = problem.residuals(unknowns)
    views = len(problem.sightings)
    squares, free = np.zeros(2), np.zeros(2)
    row = 0
    for s in problem.sightings:
        rows = slice(row, row + 2 * len(s.points_m))
        row = rows.stop
        mine = jacobian[rows]
        # The share of each residual that the fit leaves.
        left = np.clip(1 - np.einsum("ij,jk,ik->i", mine, covariance, mine), 0.0, 1.0)
        edge = np.repeat(s.from_edges, 2)
        for group, which in enumerate((edge, ~edge)):
            squares[group] += float(np.sum(whitened[rows][which] ** 2))
            free[group] += float(np.sum(left[which])) / views
    edge_ratio = np.sqrt((NOISE_WORTH * (1 / scale[0]) ** 2 + squares[0]) / (NOISE_WORTH + free[0])) * scale[0]
    click_ratio = max(1.0, np.sqrt(squares[1] / free[1]) * scale[1]) if free[1] >= 1.0 else 1.0
    return (float(edge_ratio), float(click_ratio)), float(np.sum(free))


def invert_information(information: FloatArray) -> FloatArray:
    """Inverse of a positive matrix whose entries span many powers of ten."""
    scale = 1 / np.sqrt(np.maximum(np.diag(information), 1e-30))
    inverse = np.linalg.inv(information * np.outer(scale, scale)) * np.outer(scale, scale)
    return np.asarray((inverse + inverse.T) / 2, dtype=np.float64)


def raise_frame(camera: FloatArray, covariance: FloatArray, u_height_m: float) -> FloatArray:
    """Camera covariance with the common height of the known points uncertain by ``u_height_m``."""
    from_height = np.zeros(15)
    from_height[12:] = rotation_matrix(camera[9:12])[:, 2] * u_height_m
    return np.asarray(covariance + np.outer(from_height, from_height), dtype=np.float64)
