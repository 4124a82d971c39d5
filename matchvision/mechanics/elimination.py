"""Small systems of equations, compiled."""

import numpy as np
import numpy.typing as npt

from matchvision.mechanics.compiling import compiled

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@compiled
def solve_in_place(equations: FloatArray) -> None:
    """Solve a square system by elimination with pivoting; the last column of (n, n + m) holds the answer after."""
    n, columns = equations.shape
    for i in range(n):
        best = i
        for j in range(i + 1, n):
            if abs(equations[j, i]) > abs(equations[best, i]):
                best = j
        if best != i:
            for column in range(i, columns):
                equations[i, column], equations[best, column] = equations[best, column], equations[i, column]
        for j in range(i + 1, n):
            factor = equations[j, i] / equations[i, i]
            if factor != 0.0:
                for column in range(i, columns):
                    equations[j, column] -= factor * equations[i, column]
    for i in range(n - 1, -1, -1):
        for column in range(n, columns):
            value = equations[i, column]
            for j in range(i + 1, n):
                value -= equations[i, j] * equations[j, column]
            equations[i, column] = value / equations[i, i]


@compiled
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
