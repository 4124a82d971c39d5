"""Two parts of one whole whose errors oppose each other, as the rope's on either side of the centre line."""

import numpy as np

from matchvision.arrays import FloatArray

Numbers = float | FloatArray


def share_of_whole(
    part: Numbers, u_part: Numbers, other: Numbers, u_other: Numbers, u_whole: Numbers | None = None
) -> tuple[FloatArray, FloatArray]:
    """Share of one part in both, and its standard uncertainty; NaN where there is no whole.

    Notes
    -----
    ``p = a/(a + b)``, ``u²(p) = (b² u²(a) + a² u²(b) − 2ab u(a, b))/(a + b)⁴``. What shifts the line between the parts
    lengthens one and shortens the other; what is uncertain of the whole lengthens both, and its uncertainty ``u_whole``
    tells how much of the one and of the other there is: ``2u(a, b) = u²(a + b) − u²(a) − u²(b)``. Where it is not known
    (None or NaN) the errors are taken as wholly opposed, which is the most there can be.
    Checked by: tests/uncertainty/test_opposing.py::test_opposed_errors_are_the_worst_case
    Checked by: tests/uncertainty/test_opposing.py::test_what_is_uncertain_of_the_whole_is_not_counted_as_opposed
    """
    whole = np.asarray(part, dtype=np.float64) + other
    whole = np.where(whole > 0, whole, np.nan)
    u = _spread(np.asarray(other) / whole**2, u_part, -np.asarray(part) / whole**2, u_other, u_whole)
    return np.asarray(part / whole, dtype=np.float64), u


def beyond_share(
    part: Numbers,
    u_part: Numbers,
    other: Numbers,
    u_other: Numbers,
    share_ratio: float = 0.5,
    u_whole: Numbers | None = None,
) -> tuple[FloatArray, FloatArray]:
    """By how much one part exceeds a share of the whole (negative: falls short), and its standard uncertainty.

    Notes
    -----
    ``m = (1 − p) a − p b``; how far the parts' errors oppose each other as in `share_of_whole`.
    Checked by: tests/uncertainty/test_opposing.py::test_opposed_errors_are_the_worst_case
    """
    beyond = (1 - share_ratio) * np.asarray(part) - share_ratio * np.asarray(other)
    return np.asarray(beyond, dtype=np.float64), _spread(1 - share_ratio, u_part, -share_ratio, u_other, u_whole)


def _spread(
    by_part: Numbers, u_part: Numbers, by_other: Numbers, u_other: Numbers, u_whole: Numbers | None
) -> FloatArray:
    """Standard uncertainty of what depends on both parts by these derivatives."""
    a, b = (np.asarray(u, dtype=np.float64) for u in (u_part, u_other))
    opposed = -a * b
    whole = np.asarray(np.nan if u_whole is None else u_whole, dtype=np.float64)
    both = np.where(np.isfinite(whole), np.clip((whole**2 - a**2 - b**2) / 2, opposed, -opposed), opposed)
    variance = (by_part * a) ** 2 + (by_other * b) ** 2 + 2 * by_part * by_other * both
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)
