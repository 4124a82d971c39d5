"""A sprung link's hang test: length over the force hung on it, with its bend, loading and unloading apart."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.records.sheet import HangTest
from matchvision.uncertainty import fit_line, predict_line, propagate

#: A link's closed coils are believed only where they improve the fit's chi-squared by more than this.
CLOSED_GAIN: Final = 13.8
#: A bend that improves chi-squared by more than this shows: one straight link in a thousand, if the readings scatter as
#: stated (chi-squared of one degree of freedom).
CURVED_GAIN: Final = 10.83
#: A bend needs this many different masses to be fitted, a branch of its own this many.
CURVED_MASSES: Final = 5
BRANCH_MASSES: Final = 3


@dataclass(frozen=True, eq=False)
class LinkLaw:
    """What a hang test says about a link that has opened.

    Attributes
    ----------
    coefficients : (2,) or (3,) float array
        Length [m] as a polynomial of force [N], lowest power first: the middle between loading and unloading.
    covariance : (2, 2) or (3, 3) float array
        Of the coefficients.
    gap : (2,) float array
        Half the distance [m] from loading to unloading, ``gap[0] + gap[1] force``; 0 where only one was read.
    s : float
        Scatter of the readings over the stated one (Birge ratio); the covariance is widened by it where it exceeds 1.
    degrees : float
        Degrees of freedom of the covariance: infinite where it rests on the stated uncertainty of a reading.
    opening_N, u_opening_N : float
        Below this force a preloaded link stays closed; 0 where the test shows no such thing.
    lowest_N, highest_N : float
        Forces between which the law was tested.
    unseen_bend : (4,) float array
        What a bend of 1 m/N² would leave beside a line through so few masses, as a polynomial of force (three
        coefficients), and the standard uncertainty of a bend [m/N²]; zeros where the law has its own.
    """

    coefficients: FloatArray
    covariance: FloatArray
    gap: FloatArray
    s: float
    degrees: float
    opening_N: float
    u_opening_N: float
    lowest_N: float
    highest_N: float
    unseen_bend: FloatArray

    @property
    def curved(self) -> bool:
        """Whether the law has a bend."""
        return len(self.coefficients) == 3

    def half_gap_m(self, force_N: FloatArray) -> FloatArray:
        """Half the distance between loading and unloading [m] at forces [N]; beyond the test as at its ends."""
        within_N = np.clip(force_N, self.lowest_N, self.highest_N)
        return np.asarray(np.abs(self.gap[0] + self.gap[1] * within_N), dtype=np.float64)

    def compliance(self, force_N: FloatArray) -> FloatArray:
        """How much longer the link gets for a little more force [m/N]; beyond the test as at its ends."""
        within_N = np.clip(force_N, self.lowest_N, self.highest_N)
        bend = self.coefficients[2] if self.curved else 0.0
        return np.asarray(self.coefficients[1] + 2 * bend * within_N, dtype=np.float64)

    def length_at(self, force_N: FloatArray) -> FloatArray:
        """Length [m] under forces [N]; beyond the test along the tangent at its end."""
        within_N = np.clip(force_N, self.lowest_N, self.highest_N)
        inside_m = np.polynomial.polynomial.polyval(within_N, self.coefficients)
        return np.asarray(inside_m + self.compliance(force_N) * (force_N - within_N), dtype=np.float64)

    def force_from(self, length_m: FloatArray) -> FloatArray:
        """Force [N] at link lengths [m]; beyond the test half-way between the curve and the tangent at its end."""
        tangent_N, bent_N = self._drawn_on(length_m)
        return np.asarray((tangent_N + bent_N) / 2, dtype=np.float64)

    def unsure_beyond(self, length_m: FloatArray) -> FloatArray:
        """Half of what lies between the tangent and the curve beyond the test [N]; 0 within it.

        Whether the link bends on beyond its last mass or not, no reading shows: with two answers of one chance each the
        middle is as far from either as its standard uncertainty says.
        """
        tangent_N, bent_N = self._drawn_on(length_m)
        return np.asarray(np.abs(bent_N - tangent_N) / 2, dtype=np.float64)

    def law_uncertainty(self, length_m: FloatArray) -> FloatArray:
        """Standard uncertainty [m] of the law's length, at the forces that lengths [m] mean; beyond the test too.

        Notes
        -----
        GUM (JCGM 100:2008) H.3.4, for a quadratic with its third coefficient; it grows on both sides of the tested
        forces' middle. Three or four masses leave a bend unseen: the largest that passes for straightness at
        `CURVED_GAIN`, rectangular.
        Checked by: tests/pull/test_link.py::test_uncertainty_grows_beyond_the_hang_test,
        tests/derived/test_link_coverage.py::test_intervals_hold_beyond_the_hang_test
        """
        force_N = self.force_from(length_m)
        powers = np.power.outer(np.asarray(force_N, dtype=np.float64), np.arange(len(self.coefficients)))
        variance = np.einsum("...i,ij,...j->...", powers, self.covariance, powers)
        shape = np.polynomial.polynomial.polyval(force_N, self.unseen_bend[:3])
        unseen_m = math.sqrt(CURVED_GAIN / 3) * self.unseen_bend[3] * shape
        return np.asarray(np.hypot(np.sqrt(variance), unseen_m), dtype=np.float64)

    def _drawn_on(self, length_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Force [N] at lengths [m] by the law: beyond the test along the tangent at its end, and along the curve.

        Where the curve turns back before it gets that long, as much again as the tangent went beyond the test: so much
        it is at the turning point.
        """
        ends_N = np.array([self.lowest_N, self.highest_N])
        ends_m, slopes = self.length_at(ends_N), self.compliance(ends_N)
        bend = self.coefficients[2] if self.curved else 0.0
        rise_m = np.clip(length_m, *ends_m) - self.coefficients[0]
        root = np.sqrt(self.coefficients[1] ** 2 + 4 * bend * rise_m)
        inside_N = 2 * rise_m / (self.coefficients[1] + root)
        tangent_N, bent_N = inside_N, inside_N
        for end_N, end_m, slope, out in zip(ends_N, ends_m, slopes, (np.less, np.greater), strict=True):
            away_N = (length_m - end_m) / slope
            # From the end on the curve is c x + b x², the tangent c t: equal lengths at c x + b x² = c t.
            turned = np.sqrt(np.maximum(1 + 4 * bend / slope * away_N, 0.0))
            beyond = out(length_m, end_m)
            tangent_N = np.where(beyond, end_N + away_N, tangent_N)
            bent_N = np.where(beyond, end_N + 2 * away_N / (1 + turned), bent_N)
        return tangent_N, bent_N


def fit_link(test: HangTest, u_reading_m: float) -> LinkLaw:
    """Fit the law ``length(force)`` to a hang test.

    Where at least three masses were read while loading and three while unloading, each has its own line and the law is
    the middle; with two each, the lines are a fixed distance apart. Where the lowest loads left the link at one length
    that lies above the law of the others, they are taken as a preloaded link still closed. From `CURVED_MASSES` on the
    law has a bend, fitted whether it shows or not: a line that hides a weak one would claim too much beyond its points.

    Parameters
    ----------
    test : HangTest
    u_reading_m : float
        Standard uncertainty of a reading [m], widened where the readings scatter more.

    Raises
    ------
    CannotMeasure
        Where there are too few different masses, or the link does not get longer under load.

    Notes
    -----
    Checked by: tests/derived/test_link_coverage.py::test_intervals_hold_the_true_tension,
    tests/derived/test_link_coverage.py::test_intervals_hold_with_a_curve_and_hysteresis,
    tests/derived/test_link_coverage.py::test_intervals_hold_beyond_the_hang_test
    """
    force_N = np.asarray(test.mass_kg, dtype=np.float64) * STANDARD_GRAVITY_M_S2
    length_m = np.asarray(test.length_m, dtype=np.float64)
    order = np.argsort(force_N, kind="stable")
    force_N, length_m = force_N[order], length_m[order]
    way = np.array([{"up": -1.0, "down": 1.0}.get(test.loading[i] if test.loading else "", 0.0) for i in order])
    if len(np.unique(force_N)) < 3:
        raise CannotMeasure(
            f"the hang test has only {len(np.unique(force_N))} different masses",
            where="[rope.link] hang_test",
            do="hang at least three different masses on the link, better six, up to more than the greatest pull",
        )
    branches = _branches(force_N, way)
    whole = np.linalg.lstsq(np.column_stack([_powers(force_N, 1), branches]), length_m, rcond=None)[0]
    middle_m = length_m - branches @ whole[2:]
    closed = count_closed(force_N, middle_m, u_reading_m)
    if closed and _chi_squared(_powers(force_N, 2), middle_m, u_reading_m) < _cost_closed(
        force_N, middle_m, closed, u_reading_m
    ):
        closed = 0  # a curve explains the same readings better with as many numbers
    law = _fit_open(force_N[closed:], length_m[closed:], branches[closed:], u_reading_m)
    if not closed:
        return law
    return _with_opening(law, float(middle_m[:closed].mean()), u_reading_m * max(1.0, law.s) / math.sqrt(closed))


def _with_opening(law: LinkLaw, shut_m: float, u_shut_m: float) -> LinkLaw:
    """The law with the force at which a preloaded link of that closed length opens, and its uncertainty.

    Notes
    -----
    The law's numbers are correlated: first order with their covariance (JCGM 100:2008, eq. 13).
    """
    inputs = np.append(law.coefficients, shut_m)
    covariance = np.zeros((len(inputs), len(inputs)))
    covariance[:-1, :-1], covariance[-1, -1] = law.covariance, u_shut_m**2

    def opening(x: FloatArray) -> FloatArray:
        return replace(law, coefficients=np.asarray(x[:-1], dtype=np.float64)).force_from(x[-1:])

    opens_N, spread = propagate(opening, inputs, covariance)
    return replace(law, opening_N=max(0.0, float(opens_N[0])), u_opening_N=float(np.sqrt(spread[0, 0])))


def _fit_open(force_N: FloatArray, length_m: FloatArray, branches: FloatArray, u_reading_m: float) -> LinkLaw:
    """Law through the readings of an opened link: with its bend where there are masses enough to show one."""
    enough = len(np.unique(force_N)) >= CURVED_MASSES
    for order in (2, 1) if enough else (1,):
        design = np.column_stack([_powers(force_N, order), branches])
        found = np.linalg.lstsq(design, length_m, rcond=None)[0]
        freedom = len(force_N) - design.shape[1]
        s2 = _chi_squared(design, length_m, u_reading_m) / max(1, freedom)
        u2_m2 = u_reading_m**2 * max(1.0, s2)
        covariance = np.linalg.inv(design.T @ design) * u2_m2
        gap = np.zeros(2)
        gap[: branches.shape[1]] = found[order + 1 :]
        part = slice(0, order + 1)
        law = LinkLaw(
            coefficients=np.asarray(found[part], dtype=np.float64),
            covariance=covariance[part, part],
            gap=gap,
            s=math.sqrt(s2),
            degrees=float(max(1, freedom)) if s2 > 1 else math.inf,
            opening_N=0.0,
            u_opening_N=0.0,
            lowest_N=float(force_N[0]),
            highest_N=float(force_N[-1]),
            unseen_bend=np.zeros(4) if order == 2 else _bend_unseen(force_N, design, math.sqrt(u2_m2)),
        )
        if law.compliance(np.array([law.lowest_N, law.highest_N])).min() > 0:
            break
    if not (law.compliance(force_N).min() > 0 and _lengthens(law)):
        raise CannotMeasure(
            "the link in the hang test does not get longer under load",
            where="[rope.link] hang_test",
            do="check that length_m is the distance between the two link markers under each mass",
        )
    return law


def _lengthens(law: LinkLaw) -> bool:
    """Whether the law's length grows from its lowest to its highest force by more than its uncertainty."""
    ends_m = law.length_at(np.array([law.lowest_N, law.highest_N]))
    return bool(ends_m[1] - ends_m[0] > 2 * math.hypot(*law.law_uncertainty(ends_m)))


def _bend_unseen(force_N: FloatArray, design: FloatArray, u_reading_m: float) -> FloatArray:
    """What a bend leaves beside the fitted line, as a polynomial of force, and the u of such a bend [m/N²]."""
    square = force_N**2
    taken = np.linalg.lstsq(design, square, rcond=None)[0]
    left = square - design @ taken
    u_bend = u_reading_m / math.sqrt(float(left @ left))
    return np.array([-taken[0], -taken[1], 1.0, u_bend])


def count_closed(force_N: FloatArray, length_m: FloatArray, u_reading_m: float) -> int:
    """How many of the lowest loads (sorted) left a preloaded link closed; 0 for a link that opens at once.

    A closed link has one length for all of them, and it lies above the others' line. At least three loads stay for
    the line. What is believed must improve chi-squared by `CLOSED_GAIN` (1 in 5000 by chance for one more parameter).
    """
    best, count = _chi_squared(_powers(force_N, 1), length_m, u_reading_m) - CLOSED_GAIN, 0
    for k in range(1, len(force_N) - 2):
        if len(np.unique(force_N[k:])) < 3:
            break
        line = fit_line(force_N[k:], length_m[k:])
        if length_m[:k].mean() < predict_line(line, force_N[k - 1])[0]:
            continue
        cost = _cost_closed(force_N, length_m, k, u_reading_m)
        if cost < best:
            best, count = cost, k
    return count


def _cost_closed(force_N: FloatArray, length_m: FloatArray, closed: int, u_reading_m: float) -> float:
    """Chi-squared of one length for the closed loads and a line for the others."""
    shut = float(np.sum((length_m[:closed] - length_m[:closed].mean()) ** 2)) / u_reading_m**2
    return shut + _chi_squared(_powers(force_N[closed:], 1), length_m[closed:], u_reading_m)


def _branches(force_N: FloatArray, way: FloatArray) -> FloatArray:
    """Columns by which loading (way -1) and unloading (+1) differ: offset and slope, the offset alone, or none."""
    masses = min(len(np.unique(force_N[way < 0])), len(np.unique(force_N[way > 0])))
    if masses >= BRANCH_MASSES:
        return np.column_stack([way, way * force_N])
    return way[:, None] if masses == 2 else np.empty((len(force_N), 0))


def _powers(force_N: FloatArray, order: int) -> FloatArray:
    return np.asarray(np.vander(force_N, order + 1, increasing=True), dtype=np.float64)


def _chi_squared(design: FloatArray, length_m: FloatArray, u_reading_m: float) -> float:
    residuals_m = length_m - design @ np.linalg.lstsq(design, length_m, rcond=None)[0]
    return float(residuals_m @ residuals_m) / u_reading_m**2
