"""Courses drawn whole from what a smoother knows: what the data allow as well as the smoothed one."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept
from matchvision.motion import filtering
from matchvision.motion.filtering import gain_back


def _root_loops(matrix: FloatArray, scale: FloatArray, root: FloatArray) -> None:
    """Lower root of a covariance, which may know some combinations exactly; ``scale``: sizes its entries stem from."""
    d = len(matrix)
    root[:] = 0.0
    for j in range(d):
        for i in range(j, d):
            left = matrix[i, j]
            for a in range(j):
                left -= root[i, a] * root[j, a]
            if i == j:
                # What is left of a difference of like numbers is its rounding.
                if left <= 1e-11 * scale[j, j]:
                    break
                root[j, j] = np.sqrt(left)
            else:
                root[i, j] = left / root[j, j]


_root: Callable[..., Any] = compile_kept(_root_loops)


def _draw_loops(
    predicted: FloatArray,
    predicted_p: FloatArray,
    updated: FloatArray,
    updated_p: FloatArray,
    transition: FloatArray,
    last: FloatArray,
    last_p: FloatArray,
    look: FloatArray,
    normals: FloatArray,
    drawn: FloatArray,
) -> None:
    (n, d), pairs = updated.shape, normals.shape[1]
    x, before = np.zeros((2 * pairs, d)), np.zeros(d)
    inverse, cross, gain = np.zeros((d, d)), np.zeros((d, d)), np.zeros((d, d))
    left, root = np.zeros((d, d)), np.zeros((d, d))
    for k in range(n - 1, -1, -1):
        if k == n - 1:
            _root(last_p, last_p, root)
        else:
            gain_back(updated_p[k], predicted_p[k + 1], transition[k], inverse, cross, gain)
            for i in range(d):
                for j in range(i + 1):
                    total = 0.5 * (updated_p[k, i, j] + updated_p[k, j, i])
                    for a in range(d):
                        total -= 0.5 * (gain[i, a] * cross[j, a] + gain[j, a] * cross[i, a])
                    left[i, j] = total
            _root(left, updated_p[k], root)
        for pair in range(pairs):
            for side in range(2):
                m = pair + side * pairs
                for i in range(d):
                    if k == n - 1:
                        before[i] = last[i]
                    else:
                        before[i] = updated[k, i]
                        for a in range(d):
                            before[i] += gain[i, a] * (x[m, a] - predicted[k + 1, a])
                for i in range(d):
                    new = 0.0
                    for a in range(i + 1):
                        new += root[i, a] * normals[k, pair, a]
                    x[m, i] = before[i] + (1 - 2 * side) * new
                drawn[m, k] = 0.0
                for i in range(d):
                    drawn[m, k] += look[k, i] * x[m, i]


_draw: Callable[..., Any] = compile_kept(_draw_loops, made_of=[Path(filtering.__file__)])


def draw_courses(
    filtered: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    transition: FloatArray,
    last: tuple[FloatArray, FloatArray],
    look: FloatArray,
    pairs: int,
    generator: np.random.Generator,
) -> FloatArray:
    """Courses (2 pairs, n) that the data allow as well as the smoothed one, each drawn as a whole.

    Parameters
    ----------
    filtered : predicted states (n, d) and covariances (n, d, d), and updated ones
    transition : (n − 1, d, d) float array
    last : states (d,) and covariance (d, d) of the last time, from all data.
    look : (n, d) float array
        What of the states makes the course.
    pairs : int
        Half of the courses are the others' mirror images: so their mean is the smoothed course.

    Notes
    -----
    Backwards: each state given the one after it, C. K. Carter, R. Kohn, "On Gibbs sampling for state space models",
    Biometrika 81 (1994) 541, eqs. of section 2.1; S. Frühwirth-Schnatter, J. Time Series Analysis 15 (1994) 183.
    Checked by: tests/derived/test_drawn_courses.py::test_drawn_courses_have_the_smoothers_spread_and_tie
    """
    n, d = filtered[2].shape
    drawn = np.empty((2 * pairs, n))
    normals = generator.standard_normal((n, pairs, d))
    _draw(*filtered, transition, *last, np.ascontiguousarray(look), normals, drawn)
    return drawn
