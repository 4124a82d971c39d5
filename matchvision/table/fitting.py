"""The camera that fits all corners and clicks at once, by least squares under priors, with its whole covariance.

What the picture cannot tell stays free under a prior of plausible size, so that it enters the covariance instead of
hiding: the principal point, the aspect, every distortion term. A fit that held them fixed would state 0.3 mm and be
2 mm off.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points, rotation_matrix
from matchvision.geometry.placing import parameter_jacobian
from matchvision.table.noise import NOISE_WORTH, U_TAG_PLACE_M, NoiseScale, Sighting, noise_parts
from matchvision.table.outline import Outline

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

    @property
    def lens(self) -> FloatArray:
        """The most plausible lens (9,)."""
        lens = self.mean.copy()
        if self.log_focal:
            lens[:2] = np.exp(self.mean[0]), np.exp(self.mean[0] + self.mean[1])
        return lens

    def residuals(self, intrinsics: FloatArray) -> FloatArray:
        """Departure from what is known, in standard deviations."""
        return np.asarray(self.whitening @ (self._coordinates(intrinsics) - self.mean), dtype=np.float64)

    def jacobian(self, intrinsics: FloatArray) -> FloatArray:
        """Derivatives of `residuals`."""
        inner = np.eye(_INTRINSIC)
        if self.log_focal:
            fx, fy = np.maximum(intrinsics[:2], 1.0)
            inner[0, 0] = 1 / fx
            inner[1, :2] = -1 / fx, 1 / fy
        return np.asarray(self.whitening @ inner, dtype=np.float64)

    def _coordinates(self, intrinsics: FloatArray) -> FloatArray:
        if not self.log_focal:
            return intrinsics
        changed = intrinsics.copy()
        # A trial step of the solver may pass below zero; it is then called back by the misfit.
        changed[:2] = np.log(np.maximum(intrinsics[:2], 1.0))
        changed[1] -= changed[0]
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
class CameraFit:
    """A fitted camera, or several that share one lens.

    Attributes
    ----------
    parameters : (v, 15) float array
        One row a picture.
    covariance : (v, 15, 15) float array
    bleed_px : float
        How far light paper eats into the black border.
    noise_px : float
        Noise of a tag side, as the fit found it.
    place_m : float
        Uncertainty of a tag's place on the table, as the fit found it.
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
    noise_px: float
    place_m: float
    click_ratio: float
    residuals: tuple[FloatArray, ...]
    expected_px: tuple[FloatArray, ...]
    freedom: float


class _Problem:
    """Residuals and derivatives of all pictures, for unknowns [9 lens, bleed, 6 pose a picture]."""

    def __init__(
        self,
        sightings: Sequence[Sighting],
        prior: LensPrior,
        scale: NoiseScale,
        unknowns: FloatArray,
        outline: Outline | None,
    ) -> None:
        self.sightings = sightings
        self.prior = prior
        self.parts = [noise_parts(s, self.camera(unknowns, k), scale) for k, s in enumerate(sightings)]
        self.noise = [np.sum(parts, axis=0) for parts in self.parts]
        # One picture more does not make the corners better: their errors stay from frame to frame.
        share = 1 / np.sqrt(len(sightings))
        self.whitening = [share * np.linalg.inv(np.linalg.cholesky(noise)) for noise in self.noise]
        self.outline = outline
        if outline is not None:
            self.outline_whitening = np.linalg.inv(np.linalg.cholesky(outline.covariance_px2))

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
        if self.outline is not None:
            off = np.nan_to_num(self.outline.misfit(self.camera(unknowns, 0)), nan=_FAR)
            parts.append(self.outline_whitening @ off)
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
        if self.outline is not None:
            by_camera = self.outline_whitening @ np.nan_to_num(self.outline.misfit_jacobian(self.camera(unknowns, 0)))
            block = np.zeros((len(by_camera), len(unknowns)))
            block[:, :_INTRINSIC], block[:, _INTRINSIC + 1 : _INTRINSIC + 7] = by_camera[:, :9], by_camera[:, 9:]
            blocks.append(block)
        known = np.zeros((_INTRINSIC + 1, len(unknowns)))
        known[:_INTRINSIC, :_INTRINSIC] = self.prior.jacobian(unknowns[:_INTRINSIC])
        known[_INTRINSIC, _INTRINSIC] = 1 / U_BLEED_PX
        return np.concatenate([*blocks, known])


def fit_cameras(
    sightings: Sequence[Sighting],
    start: FloatArray,
    prior: LensPrior,
    u_height_m: float = 0.0,
    outline: Outline | None = None,
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
    outline : Outline or None
        The table's edges in the first picture.

    Notes
    -----
    Least squares with priors, so the covariance is (JᵀJ)⁻¹ of the whitened problem. The noise of the tags' sides is
    learnt, as is that of their places on the table: s² = (ν0 s0² + Σ r²) / (ν0 + ν), a scaled inverse chi-squared
    update with ν0 = 4 residuals' worth of expectation; clicks are taken as stated unless they fit worse. With several
    pictures the corners' errors are taken as common to all, so the lens does not look better for it.
    Checked by: tests/published/test_plane_fit.py::test_fitted_points_lie_where_a_reference_library_has_them,
    tests/derived/test_camera_honesty.py::test_stated_uncertainty_holds_the_truth
    """
    unknowns = np.concatenate([start[0, :_INTRINSIC], [BLEED_PX], start[:, _INTRINSIC:].ravel()])
    scale = NoiseScale()
    for _ in range(5):
        problem = _Problem(sightings, prior, scale, unknowns, outline)
        solved = least_squares(problem.residuals, unknowns, jac=problem.jacobian, x_scale="jac", method="lm")
        unknowns = np.asarray(solved.x, dtype=np.float64)
        scale, tails, freedom = _learn_noise(problem, unknowns, scale)
    problem = _Problem(sightings, prior, tails, unknowns, outline)
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
        taken = np.einsum("ij,jk,ik->i", mine, covariance, mine) / len(sightings)
        left = np.maximum(np.diag(noise) - taken, 1e-6 * np.diag(noise))
        expected.append(np.sqrt(left).reshape(-1, 2))
    edges = [s.u_px[s.from_edges] for s in sightings]
    noise_px = float(np.mean(np.concatenate(edges))) * scale.sides if any(len(e) for e in edges) else 0.0
    return CameraFit(
        np.array(parameters),
        np.array(covariances),
        float(unknowns[_INTRINSIC]),
        noise_px,
        scale.places * U_TAG_PLACE_M,
        scale.clicks,
        tuple(residuals),
        tuple(expected),
        freedom,
    )


def whiten_misfit(
    sighting: Sighting, fit: CameraFit, prior: LensPrior, outline: Outline | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Whitened misfit (r,), its design (r, unknowns), and the whitening (2p, 2p) of the points, which stand first.

    For one picture, under the noise that was expected, not the one learnt.
    """
    unknowns = np.concatenate([fit.parameters[0, :_INTRINSIC], [fit.bleed_px], fit.parameters[0, _INTRINSIC:]])
    problem = _Problem([sighting], prior, NoiseScale(), unknowns, outline)
    return problem.residuals(unknowns), problem.jacobian(unknowns), problem.whitening[0]


def _learn_noise(problem: _Problem, unknowns: FloatArray, scale: NoiseScale) -> tuple[NoiseScale, NoiseScale, float]:
    """Sizes of the three kinds of noise against what was expected, and the residuals beyond what was fitted.

    The second of the three answers is the first, widened for being learnt from few residuals.

    Notes
    -----
    Variance components by restricted maximum likelihood: with Σ the whole noise, V a part of it, A the design and C the
    covariance of what is fitted, P = Σ⁻¹ − Σ⁻¹ A C Aᵀ Σ⁻¹; the part's scale goes with r'Σ⁻¹VΣ⁻¹r / tr(PV), and tr(PV)
    are the residuals that tell of it. A variance learnt from ν residuals makes Student's tails, whose variance is
    ν / (ν − 2) times as large. H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545 (from memory).
    """
    jacobian = problem.jacobian(unknowns)
    covariance = invert_information(jacobian.T @ jacobian)
    share = 1 / len(problem.sightings)
    squares, free = np.zeros(3), np.zeros(3)
    for k, (parts, noise) in enumerate(zip(problem.parts, problem.noise, strict=True)):
        weight = np.linalg.inv(noise)
        by_unknowns = weight @ problem.misfit_jacobian(unknowns, k)
        left = weight - share * by_unknowns @ covariance @ by_unknowns.T
        pull = weight @ problem.misfit(unknowns, k).ravel()
        squares += share * np.array([pull @ part @ pull for part in parts])
        free += share * np.maximum([np.sum(left * part) for part in parts], 0.0)
    before = np.array([scale.sides, scale.places, scale.clicks])
    ratio = np.sqrt((NOISE_WORTH + squares * before**2) / (NOISE_WORTH + free))
    clicks = max(1.0, float(ratio[2]))
    known = NOISE_WORTH + free
    wide = ratio * np.sqrt(known / (known - 2))
    learnt = NoiseScale(float(ratio[0]), float(ratio[1]), clicks)
    return learnt, NoiseScale(float(wide[0]), float(wide[1]), clicks), float(np.sum(free))


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
