"""Tension from a sprung link: its hang test inverted, length seen in the clip to force."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.errors import CannotMeasure
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.records.motion import RopeMotion
from matchvision.records.pull import BudgetLine, PullSource
from matchvision.records.sheet import HangTest
from matchvision.uncertainty import LineFit, fit_line, predict_line

FloatArray = npt.NDArray[np.float64]

#: Gravity where the test was made lies between 9.780 (equator) and 9.832 m/s² (poles): half that span, rectangular
#: (GUM 4.3.7), over the standard value.
U_GRAVITY_RATIO: Final = 0.026 / math.sqrt(3) / STANDARD_GRAVITY_M_S2
#: A link's closed coils are believed only where they improve the fit's chi-squared by more than this.
CLOSED_GAIN: Final = 13.8


@dataclass(frozen=True, eq=False)
class LinkLaw:
    """What a hang test says: ``length = rest + compliance · force``, once the link has opened.

    Attributes
    ----------
    line : LineFit
        Link length [m] over force [N].
    opening_N : float
        Below this force a preloaded link stays closed; 0 where the test shows no such thing.
    hysteresis_m : float
        Half the distance between loading and unloading lines; 0 where only one of them was read.
    lowest_N, highest_N : float
        Forces between which the line was tested.
    """

    line: LineFit
    opening_N: float
    hysteresis_m: float
    lowest_N: float
    highest_N: float

    def force_from(self, length_m: FloatArray) -> FloatArray:
        """Force [N] at link lengths [m], by the line alone."""
        return np.asarray((length_m - self.line.intercept) / self.line.slope, dtype=np.float64)

    def line_uncertainty(self, force_N: FloatArray) -> FloatArray:
        """Standard uncertainty [N] that the fitted line leaves in a force read from it.

        Grows on both sides of the tested forces' middle, so that a force beyond them is known less well.

        Notes
        -----
        The line's u of a length at that force, over its slope: GUM (JCGM 100:2008) H.3.4, inverted.
        Checked by: tests/pull/test_link.py::test_uncertainty_grows_beyond_the_hang_test
        """
        return np.asarray(predict_line(self.line, force_N)[1] / self.line.slope, dtype=np.float64)


def fit_link(test: HangTest, u_reading_m: float) -> LinkLaw:
    """Fit the straight line ``length(force)`` to a hang test.

    Loading and unloading, where both were read, get lines a fixed distance apart. Where the lowest loads left the
    link at one length that lies above the line of the others, they are taken as a preloaded link still closed.

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
    Checked by: tests/derived/test_link_coverage.py::test_intervals_hold_the_true_tension
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
    hysteresis_m = _half_gap(force_N, length_m, way)
    length_m = length_m - way * hysteresis_m
    closed = count_closed(force_N, length_m, u_reading_m)
    line = fit_line(force_N[closed:], length_m[closed:], u_reading_m)
    if not line.slope > 2 * line.u_slope:
        raise CannotMeasure(
            "the link in the hang test does not get longer under load",
            where="[rope.link] hang_test",
            do="check that length_m is the distance between the two link markers under each mass",
        )
    opening_N = max(0.0, (float(length_m[:closed].mean()) - line.intercept) / line.slope) if closed else 0.0
    return LinkLaw(line, opening_N, abs(hysteresis_m), float(force_N[closed]), float(force_N[-1]))


def count_closed(force_N: FloatArray, length_m: FloatArray, u_reading_m: float) -> int:
    """How many of the lowest loads (sorted) left a preloaded link closed; 0 for a link that opens at once.

    A closed link has one length for all of them, and it lies above the others' line. At least three loads stay for
    the line. What is believed must improve chi-squared by `CLOSED_GAIN` (1 in 5000 by chance for one more parameter).
    """
    whole = _chi_squared(force_N, length_m, u_reading_m)
    best, count = whole - CLOSED_GAIN, 0
    for k in range(1, len(force_N) - 2):
        if len(np.unique(force_N[k:])) < 3:
            break
        line = fit_line(force_N[k:], length_m[k:])
        shut_m = length_m[:k].mean()
        if shut_m < predict_line(line, force_N[k - 1])[0]:
            continue
        cost = float(np.sum((length_m[:k] - shut_m) ** 2)) / u_reading_m**2
        cost += _chi_squared(force_N[k:], length_m[k:], u_reading_m)
        if cost < best:
            best, count = cost, k
    return count


def measure_link(law: LinkLaw, rope: RopeMotion) -> PullSource:
    """Tension from the link's length in each frame.

    A slack rope pulls with 0 N: its uncertainty is what the link could have shown without being noticed, that is its
    own reading. A preloaded link that cannot be told from a closed one says only that the tension lies between 0 and
    its opening force: half of it, rectangular.

    Notes
    -----
    Independent part: the length seen. Common part: the fitted line, the camera's scale, local gravity against the
    standard one of the hang test, hysteresis (rectangular).
    Checked by: tests/derived/test_link_coverage.py::test_intervals_hold_the_true_tension
    """
    compliance = law.line.slope
    tension_N = law.force_from(rope.link_length_m)
    own_N = rope.u_link_length_m / compliance
    parts = {
        "hang test line": law.line_uncertainty(tension_N),
        "camera scale over the link": rope.link_length_m * rope.u_link_common_ratio / compliance,
        "local gravity": np.abs(tension_N) * U_GRAVITY_RATIO,
        "link hysteresis": np.full_like(tension_N, law.hysteresis_m / math.sqrt(3) / compliance),
    }
    common_N = np.sqrt(np.sum([part**2 for part in parts.values()], axis=0))
    shut = (law.opening_N > 0) & (tension_N < law.opening_N + 2 * own_N)
    most_N = np.maximum(law.opening_N, tension_N)
    tension_N = np.where(shut, most_N / 2, tension_N)
    own_N = np.where(shut, np.hypot(own_N, most_N / math.sqrt(12)), own_N)
    slack = rope.slack == 1
    tension_N = np.where(slack, 0.0, tension_N)
    typical_N = float(np.median(own_N[np.isfinite(own_N)])) if np.isfinite(own_N).any() else math.nan
    own_N = np.where(slack & ~np.isfinite(own_N), typical_N, own_N)
    common_N = np.where(slack, 0.0, common_N)
    budget: tuple[BudgetLine, ...] = ()
    if np.isfinite(tension_N).any():
        peak = int(np.nanargmax(tension_N))
        budget = (
            BudgetLine("link length in the picture", float(own_N[peak]), "N", common=False),
            *(BudgetLine(name, float(part[peak]), "N", common=True) for name, part in parts.items() if part[peak] > 0),
        )
    return PullSource("link", tension_N, np.hypot(own_N, common_N), common_N, independent=True, budget=budget)


def _half_gap(force_N: FloatArray, length_m: FloatArray, way: FloatArray) -> float:
    """Half the distance [m] from loading (way -1) to unloading (+1) lines, by least squares; 0 without both."""
    if (way < 0).sum() < 2 or (way > 0).sum() < 2:
        return 0.0
    design = np.stack([np.ones_like(force_N), force_N, way], axis=1)
    return float(np.linalg.lstsq(design, length_m, rcond=None)[0][2])


def _chi_squared(force_N: FloatArray, length_m: FloatArray, u_reading_m: float) -> float:
    residuals_m = fit_line(force_N, length_m).residuals
    return float(residuals_m @ residuals_m) / u_reading_m**2
