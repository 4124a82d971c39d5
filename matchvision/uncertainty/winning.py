"""How surely each side has won, by what was measured and its uncertainty."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from matchvision.arrays import FloatArray
from matchvision.uncertainty.opposing import beyond_share

#: A standard uncertainty of none [m], by which can still be divided.
NOTHING_M: Final = 1e-12


@dataclass(frozen=True)
class Chances:
    """Probability that the side at -x has won, that at +x, and that nobody has: they add to 1. NaN where unknown."""

    minus: float
    plus: float
    nobody: float


def chances_by_share(
    minus: tuple[float, float], plus: tuple[float, float], to_win: float, u_whole: float | None = None
) -> Chances:
    """Who has won where the larger share of the rope wins, if it exceeds the share to win.

    Parameters
    ----------
    minus, plus : rope on each side and its standard uncertainty [m].
    to_win : share beyond which the larger one wins. Above one half, nobody wins between ``1 - to_win`` and ``to_win``;
        below it both sides may hold more, the larger share is the one beyond half, and somebody always wins.
    u_whole : standard uncertainty of the whole rope [m], which tells how far the sides' errors oppose each other.

    Notes
    -----
    ``Φ(m/u(m))`` with m the side's rope beyond the share that it needs: its errors are taken as normal.
    Checked by: tests/derived/test_winning.py::test_rulings_of_drawn_measurements_come_as_often_as_told
    """
    needed = max(to_win, 0.5)
    for_minus = _above_zero(*beyond_share(*minus, *plus, needed, u_whole))
    for_plus = _above_zero(*beyond_share(*plus, *minus, needed, u_whole))
    return Chances(for_minus, for_plus, float(np.maximum(0.0, 1.0 - for_minus - for_plus)))


def chances_by_line(x_m: FloatArray, u_x_m: FloatArray, line_m: float) -> Chances:
    """Who has won where the side wins past whose line, ``line_m`` either way of the middle, a mark comes first.

    Parameters
    ----------
    x_m, u_x_m : the mark's places (k,) in the order of time, positive towards +x, and their standard uncertainties [m].
    line_m : distance of both lines from the middle [m].

    Notes
    -----
    Most of a place's error is common to all frames: one error ``z u``, z standard normal, shifts the whole path, and
    many noisy places near a line are no more of a passing than one. In frame i the mark is past the line at +x where
    ``z > p_i = (line − x_i)/u_i`` and past the other one where ``z < q_i = (−line − x_i)/u_i``. So those z make +x win
    at frame i that lie between the least p until i and the least before, and not below the greatest q until i.
    Checked by: tests/derived/test_winning.py::test_first_passings_of_shifted_paths_come_as_often_as_told
    """
    u_m = np.maximum(u_x_m, NOTHING_M)
    least = np.minimum.accumulate((line_m - x_m) / u_m)
    greatest = np.maximum.accumulate((-line_m - x_m) / u_m)
    least_before, greatest_before = np.append(np.inf, least[:-1]), np.append(-np.inf, greatest[:-1])
    for_plus = np.maximum(0.0, ndtr(least_before) - ndtr(np.maximum(least, greatest))).sum()
    for_minus = np.maximum(0.0, ndtr(np.minimum(least, greatest)) - ndtr(greatest_before)).sum()
    # Sums of many differences may come out a rounding above 1.
    for_minus, for_plus = min(float(for_minus), 1.0), min(float(for_plus), 1.0)
    return Chances(for_minus, for_plus, max(0.0, 1.0 - for_minus - for_plus))


def _above_zero(value: FloatArray, u: FloatArray) -> float:
    """Probability that a quantity is above 0; without an uncertainty it is, or it is not."""
    return float(ndtr(value / u)) if u != 0 else float(value > 0)
