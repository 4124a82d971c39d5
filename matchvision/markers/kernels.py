"""Small compiled functions that the fit of discs is made of: a solver, and how alike neighbouring residuals err."""

import math
from typing import Any, Final

from matchvision.compiling import compile_kept

#: How far neighbours' likeness is followed [samples].
_LAGS: Final = 3
#: What the compiler may take for equal: nothing here depends on the last digit or on the sign of nothing.
FAST: Final[dict[str, Any]] = {"fastmath": {"contract", "arcp", "nsz"}}


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


def _alikeness(residual: Any, rows: Any, cols: Any, soft: Any, fitted: Any) -> Any:  # noqa: ANN401
    """How much neighbours' likeness widens the variance of an edge's place; NaN counts as no sample.

    The sum over lags of the residuals' autocorrelation, each lag weighted by how alike the edge's slope is there:
    exp(-lag² / (8 b²)) on average over the edge's directions. What was fitted makes white residuals look opposed; 0.4
    of the weights' sum for each unknown and sample puts that right within 0.05, as drawn discs showed.
    """
    square, samples = 0.0, 0
    for i in range(rows):
        for j in range(cols):
            if not math.isnan(residual[i, j]):
                square += residual[i, j] * residual[i, j]
                samples += 1
    if samples < 9 or square <= 0:
        return 1.0
    total, reach = 1.0, 1.0
    for di in range(_LAGS + 1):
        for dj in range(-_LAGS, _LAGS + 1):
            if di == 0 and dj <= 0:
                continue
            product, pairs = 0.0, 0
            for i in range(rows - di):
                for j in range(max(0, -dj), min(cols, cols - dj)):
                    both = residual[i, j] * residual[i + di, j + dj]
                    if not math.isnan(both):
                        product += both
                        pairs += 1
            if pairs:
                weight = 2 * math.exp(-(di * di + dj * dj) / (8 * soft * soft))
                total += weight * (product / pairs) / (square / samples)
                reach += weight
    return total + 0.4 * reach * fitted / samples


solve = compile_kept(_solve_in_place, **FAST)
likeness = compile_kept(_alikeness, **FAST)
