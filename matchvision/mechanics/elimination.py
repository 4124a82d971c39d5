"""Small systems of equations, compiled."""

from matchvision.arrays import FloatArray, IntArray
from matchvision.mechanics.compiling import compiled, compiled_lean

#: Three factors and a right side.
Row = tuple[float, float, float, float]


@compiled_lean
def solve_three(one: Row, two: Row, three: Row) -> tuple[float, float, float]:
    """Solution of three equations by Cramer's rule; each row is its three factors and its right side."""
    a, b, c, p = one
    d, e, f, q = two
    g, h, i, r = three
    ei, di, dh = e * i - f * h, d * i - f * g, d * h - e * g
    qi, qh, qg = q * i - f * r, q * h - e * r, d * r - q * g
    whole = a * ei - b * di + c * dh
    return (
        (p * ei - b * qi + c * qh) / whole, (a * qi - p * di + c * qg) / whole, (p * dh - a * qh - b * qg) / whole
    )  # fmt: skip


@compiled_lean
def factor_in_place(matrix: FloatArray, order: IntArray) -> None:
    """Triangular factors of a square matrix by elimination with pivoting, in its own place; ``order`` gets the rows."""
    n = len(matrix)
    for i in range(n):
        best = i
        for j in range(i + 1, n):
            if abs(matrix[j, i]) > abs(matrix[best, i]):
                best = j
        order[i] = best
        if best != i:
            for column in range(n):
                matrix[i, column], matrix[best, column] = matrix[best, column], matrix[i, column]
        for j in range(i + 1, n):
            if matrix[j, i] != 0.0:
                factor = matrix[j, i] / matrix[i, i]
                matrix[j, i] = factor
                for column in range(i + 1, n):
                    matrix[j, column] -= factor * matrix[i, column]


@compiled
def solve_factored(matrix: FloatArray, order: IntArray, right: FloatArray) -> FloatArray:
    """Solution (n,) for a right side, from `factor_in_place`."""
    n = len(matrix)
    out = right.copy()
    for i in range(n):
        out[i], out[order[i]] = out[order[i]], out[i]
    for i in range(n):
        for j in range(i):
            out[i] -= matrix[i, j] * out[j]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            out[i] -= matrix[i, j] * out[j]
        out[i] /= matrix[i, i]
    return out
