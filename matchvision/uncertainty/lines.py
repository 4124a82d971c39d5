"""Straight lines through points, with the covariance that a prediction beyond the points needs."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class LineFit:
    """A fitted line y = intercept + slope · (x − x_ref).

    Attributes
    ----------
    intercept, slope : float
        The intercept is the line's value at ``x_ref``.
    covariance : (2, 2) float array
        Of (intercept, slope).
    s : float
        Root of the (weighted) sum of squared residuals over the degrees of freedom.
    degrees : int
        Points less two.
    residuals : (n,) float array
        y − line.
    scaled : bool
        True where the covariance rests on the scatter of the points, not on stated uncertainties.
    """

    x_ref: float
    intercept: float
    slope: float
    covariance: FloatArray
    s: float
    degrees: int
    residuals: FloatArray
    scaled: bool

    @property
    def u_intercept(self) -> float:
        """Standard uncertainty of the intercept."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def u_slope(self) -> float:
        """Standard uncertainty of the slope."""
        return float(np.sqrt(self.covariance[1, 1]))

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope."""
        return float(self.covariance[0, 1] / (self.u_intercept * self.u_slope))


def fit_line(x: FloatArray, y: FloatArray, u_y: FloatArray | float | None = None, *, x_ref: float = 0.0) -> LineFit:
    """Least-squares line through points, ordinary or weighted by stated uncertainties.

    Parameters
    ----------
    x, y : (n,) float arrays
        At least three points with at least two different x; x taken as exact.
    u_y : (n,) float array or float, optional
        Standard uncertainties of y. Without them the points' scatter gives the covariance. With them the covariance is
        theirs, widened by s where the scatter is larger than stated (s > 1): never narrowed.
    x_ref : float
        Where the intercept is taken.

    Raises
    ------
    ValueError
        For too few points or no spread in x.

    Notes
    -----
    JCGM 100:2008, H.3, eq. H.13a to H.13f; the Birge ratio for widening.
    Checked by: tests/published/test_gum.py::test_h3_thermometer_line
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if len(x) < 3 or np.ptp(x) == 0:
        msg = f"a line with uncertainty needs three points and two different x; found {len(x)} with spread {np.ptp(x)}"
        raise ValueError(msg)
    weight = np.ones_like(x) if u_y is None else 1.0 / np.broadcast_to(np.asarray(u_y, dtype=np.float64), x.shape) ** 2
    total = weight.sum()
    # About the weighted mean the two unknowns do not mix, so nothing is lost where x is far from zero.
    middle = float((weight * x).sum() / total)
    spread = float((weight * (x - middle) ** 2).sum())
    at_middle = float((weight * y).sum() / total)
    slope = float((weight * (x - middle) * y).sum() / spread)
    residuals = y - at_middle - slope * (x - middle)
    degrees = len(x) - 2
    s = float(np.sqrt((weight * residuals**2).sum() / degrees))
    scale = s**2 if u_y is None else max(1.0, s**2)
    arm = x_ref - middle
    u2_middle, u2_slope = scale / total, scale / spread
    covariance = np.array([[u2_middle + arm**2 * u2_slope, arm * u2_slope], [arm * u2_slope, u2_slope]])
    return LineFit(x_ref, at_middle + slope * arm, slope, covariance, s, degrees, residuals, u_y is None)


def predict_line(fit: LineFit, x: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Values of a fitted line at x, beyond the points too, and their standard uncertainties.

    Notes
    -----
    JCGM 100:2008, eq. H.15: u² = u²(a) + (x − x_ref)² u²(b) + 2 (x − x_ref) u(a, b).
    Checked by: tests/published/test_gum.py::test_h3_thermometer_line
    """
    arm = np.asarray(x, dtype=np.float64) - fit.x_ref
    c = fit.covariance
    variance = c[0, 0] + 2 * arm * c[0, 1] + arm**2 * c[1, 1]
    return np.asarray(fit.intercept + fit.slope * arm), np.asarray(np.sqrt(variance))
