"""Two parts of one whole whose errors oppose each other, as the rope's on either side of the centre line."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Numbers = float | FloatArray


def share_of_whole(part: Numbers, u_part: Numbers, other: Numbers, u_other: Numbers) -> tuple[FloatArray, FloatArray]:
    """Share of one part in both, and its standard uncertainty; NaN where there is no whole.

    Notes
    -----
    ``p = a/(a + b)``. What shifts the line between the parts lengthens one and shortens the other, so their errors are
    taken as wholly opposed: ``u(p) = (b u(a) + a u(b))/(a + b)²``. Any other correlation gives less.
    Checked by: tests/uncertainty/test_opposing.py::test_opposed_errors_are_the_worst_case
    """
    whole = np.asarray(part, dtype=np.float64) + other
    whole = np.where(whole > 0, whole, np.nan)
    u = (np.asarray(other) * u_part + np.asarray(part) * u_other) / whole**2
    return np.asarray(part / whole, dtype=np.float64), np.asarray(u, dtype=np.float64)


def beyond_share(
    part: Numbers, u_part: Numbers, other: Numbers, u_other: Numbers, share_ratio: float = 0.5
) -> tuple[FloatArray, FloatArray]:
    """By how much one part exceeds a share of the whole (negative: falls short), and its standard uncertainty.

    Notes
    -----
    ``m = (1 − p) a − p b``, errors wholly opposed: ``u(m) = (1 − p) u(a) + p u(b)``. Any other correlation gives less.
    Checked by: tests/uncertainty/test_opposing.py::test_opposed_errors_are_the_worst_case
    """
    beyond = (1 - share_ratio) * np.asarray(part) - share_ratio * np.asarray(other)
    u = (1 - share_ratio) * np.asarray(u_part) + share_ratio * np.asarray(u_other)
    return np.asarray(beyond, dtype=np.float64), np.asarray(u, dtype=np.float64)
