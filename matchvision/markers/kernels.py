"""Compiled functions that the fit of discs is made of: a solver, what it leaves uncertain, how alike neighbours err."""

import math
from typing import Any, Final

import numpy as np

from matchvision.compiling import compile_kept

#: How far neighbours' likeness is followed [samples].
_LAGS: Final = 3
#: What the compiler may take for equal: nothing here depends on the last digit or on the sign of nothing.
FAST: Final[dict[str, Any]] = {"fastmath": {"contract", "arcp", "nsz"}}
#: Where sums may be taken in any order as well, and so several at a time.
ANY_ORDER: Final[dict[str, Any]] = {"fastmath": {"contract", "arcp", "nsz", "reassoc"}}


def _solve_in_place(normal: Any, right: Any, count: Any) -> Any:  # noqa: ANN401
    """Cholesky factor into the lower triangle of ``normal``, the solution into ``right``; whether that can be done."""
    for p in range(count):
        for q in range(p + 1):
            value = normal[p, q]
            for k in range(q):
                value -= normal[p, k] * normal[q, k]
            if p > q:
                normal[p, q] = value / normal[q, q]
            elif value > 1e-10 * normal[p, p] and value > 0:
                normal[p, p] = math.sqrt(value)
            else:
                return False
    for p in range(count):
        value = right[p]
        for k in range(p):
            value -= normal[p, k] * right[k]
        right[p] = value / normal[p, p]
    for p in range(count - 1, -1, -1):
        value = right[p]
        for k in range(p + 1, count):
            value -= normal[k, p] * right[k]
        right[p] = value / normal[p, p]
    return True


def _alikeness(residual: Any, valid: Any, rows: Any, cols: Any, soft: Any, fitted: Any) -> Any:  # noqa: ANN401
    """How much neighbours' likeness widens the variance of an edge's place; only samples that are valid count.

    The sum over lags of the residuals' autocorrelation, each lag weighted by how alike the edge's slope is there:
    exp(-lag² / (8 b²)) on average over the edge's directions. What was fitted makes white residuals look opposed; 0.4
    of the weights' sum for each unknown and sample puts that right within 0.05, as drawn discs showed.
    """
    square, samples = 0.0, 0.0
    for n in range(rows * cols):
        square += valid[n] * residual[n] * residual[n]
        samples += valid[n]
    if samples < 9 or square <= 0:
        return 1.0
    total, reach = 1.0, 1.0
    for di in range(_LAGS + 1):
        for dj in range(-_LAGS, _LAGS + 1):
            if di == 0 and dj <= 0:
                continue
            product, pairs = 0.0, 0.0
            for i in range(rows - di):
                for j in range(max(0, -dj), min(cols, cols - dj)):
                    one, other = i * cols + j, (i + di) * cols + j + dj
                    both = valid[one] * valid[other]
                    product += both * residual[one] * residual[other]
                    pairs += both
            if pairs > 0:
                weight = 2 * math.exp(-(di * di + dj * dj) / (8 * soft * soft))
                total += weight * (product / pairs) / (square / samples)
                reach += weight
    return total + 0.4 * reach * fitted / samples


def _spread_place(normal: Any, count: Any, variance: Any) -> Any:  # noqa: ANN401
    """Fill in the diagonal of the inverse of a normal matrix from its factor; give the covariance of the first two.

    Columns of the inverse of the triangle: their products sum to the inverse's elements.
    """
    first, column = np.empty(count), np.empty(count)
    mixed = 0.0
    for axis in range(count):
        total = 0.0
        for p in range(axis, count):
            value = 1.0 if p == axis else 0.0
            for k in range(axis, p):
                value -= normal[p, k] * column[k]
            column[p] = value / normal[p, p]
            total += column[p] * column[p]
            if axis == 0:
                first[p] = column[p]
            elif axis == 1:
                mixed += column[p] * first[p]
        variance[axis] = total
    return mixed


solve = compile_kept(_solve_in_place, **FAST)
likeness = compile_kept(_alikeness, **FAST)
spread_place = compile_kept(_spread_place, **FAST)
