"""Compiled: where in a window a marker of its colour lies, and a first fit of its disc in the chroma planes.

Model of a sample: ground + contrast / (1 + exp(-(1 - ρ) R / s)), with ρ the distance from the middle in half-axes of
the ellipse, R the mean half-axis and s the softness of an edge. Solved by Gauss and Newton.
"""

import functools
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
from numba import types

from matchvision.compiling import compile_kept
from matchvision.markers import kernels, sampling
from matchvision.markers.kernels import ANY_ORDER, FAST, solve, spread_place
from matchvision.markers.sampling import frame_window

#: Columns of the answer.
COL, ROW, U_COL, U_ROW, CONTRAST, MISFIT, LIKENESS, ACROSS = range(8)
COLUMNS: Final = 8
#: Softness of a marker's edge in the chroma planes [luma px]: sampling over two pixels, lens and codec.
EDGE_PX: Final = 0.8
#: The logistic step in steps of 1 / 128 from -16 to 16: taken from a table, several samples at a time.
_FINE, _FAR = 128, 16.0
_STEP: Final = 1 / (1 + np.exp(_FAR - np.arange(int(2 * _FAR) * _FINE + 2) / _FINE))

#: Widest half-window searched [chroma samples].
_WIDEST: Final = 48
_SIDE: Final = 2 * _WIDEST + 1
#: The box over which likeness is summed reaches so much of the radius to each side; where its mean is less, the colour
#: is not there; and a place at the window's edge must be so much liker to be preferred to one in the middle.
_BOX_RATIO, _LEAST_LIKENESS, _PREFER_MIDDLE = 0.6, 0.15, 0.15
#: How far beyond the ellipse the fit reaches [px], and its fewest samples.
_BEYOND_PX: Final = 3.5
_FEWEST: Final = 9
_UNKNOWNS: Final = 4
#: Longest step at a time, and steps that end the fit: at any turn, and at the last [px].
_LONGEST_STEP_PX, _LAST_STEP_PX, _FAIR_STEP_PX = 1.5, 0.03, 0.1
_MOST_TURNS: Final = 8
#: Least contrast that the fit may come to, as a share of the colour's strength.
_LEAST_CONTRAST: Final = 0.1


@functools.cache
def search_and_fit() -> Callable[..., None]:
    """The compiled kernel; compiled once and kept on disk where the disk allows it."""
    plane = types.Array(types.uint8, 2, "A", readonly=True)
    flat, table = types.float64[::1], types.float64[:, ::1]
    signature = types.void(plane, plane, flat, table, flat, table, flat, flat, table, flat, flat, table)
    made_of = (Path(kernels.__file__), Path(sampling.__file__))
    return compile_kept(_search_and_fit_windows, signature=signature, made_of=made_of, **FAST)


def _search_and_fit_windows(
    blue: Any, red: Any, siting: Any, place: Any, half: Any, direction: Any, strength: Any, sideways: Any,  # noqa: ANN401
    inverse: Any, radius: Any, neutral: Any, answer: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    """Fill ``answer``: col, row, their deviations by the fit, contrast, misfit, likeness, chroma across.

    ``siting``: steps of the chroma planes and where their first sample lies (col, row, col, row) [luma px].
    """
    like, sums = np.empty((_SIDE, _SIDE)), np.empty((_SIDE, _SIDE))
    samples, sides = np.empty((4, _SIDE * _SIDE)), np.empty(_SIDE * _SIDE)
    normal, right, variances = np.empty((_UNKNOWNS, _UNKNOWNS)), np.empty(_UNKNOWNS), np.empty(_UNKNOWNS)
    for w in range(place.shape[0]):
        if not (math.isfinite(place[w, 0]) and math.isfinite(place[w, 1]) and half[w] > 0):
            continue
        likeness, start_col, start_row = _search(
            blue, red, siting, place[w], half[w], direction[w], strength[w], sideways[w], radius[w], neutral, like, sums
        )
        if likeness < 0:
            continue
        ellipse = (inverse[w, 0], inverse[w, 1], inverse[w, 2], radius[w])
        good, col, row, contrast, squares, number, across = _fit(
            blue, red, siting, start_col, start_row, ellipse, direction[w], strength[w], neutral, samples, sides,
            normal, right,
        )  # fmt: skip
        away = math.sqrt((col - start_col) ** 2 + (row - start_row) ** 2)
        if not good or away > 0.8 * radius[w] + 3.0:
            continue
        variance = squares / (number - _UNKNOWNS)
        spread_place(normal, _UNKNOWNS, variances)
        answer[w, COL], answer[w, ROW] = col, row
        answer[w, U_COL], answer[w, U_ROW] = math.sqrt(variance * variances[0]), math.sqrt(variance * variances[1])
        answer[w, CONTRAST], answer[w, MISFIT] = contrast / strength[w], math.sqrt(variance) / contrast
        answer[w, LIKENESS], answer[w, ACROSS] = likeness, across / strength[w]


def _search_window(
    blue: Any, red: Any, siting: Any, place: Any, half: Any, direction: Any, strength: Any, sideways: Any, radius: Any,  # noqa: ANN401
    neutral: Any, like: Any, sums: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """The likeness and place (col, row) of the box that is likest to the colour; likeness -1 where there is none."""
    rows, cols = blue.shape
    step_col, step_row = siting[0], siting[1]
    middle_col, middle_row = (place[0] - siting[2]) / step_col, (place[1] - siting[3]) / step_row
    half_col, half_row = min(half / step_col, _WIDEST - 1.0), min(half / step_row, _WIDEST - 1.0)
    left, stop_col = max(0, math.ceil(middle_col - half_col)), min(cols, math.floor(middle_col + half_col) + 1)
    top, stop_row = max(0, math.ceil(middle_row - half_row)), min(rows, math.floor(middle_row + half_row) + 1)
    tall, wide = stop_row - top, stop_col - left
    if tall < 3 or wide < 3:
        return -1.0, 0.0, 0.0
    for i in range(tall):
        for j in range(wide):
            b, r = blue[top + i, left + j] - neutral[0], red[top + i, left + j] - neutral[1]
            along, across = b * direction[0] + r * direction[1], b * direction[1] - r * direction[0]
            like[i, j] = min(max((along - sideways * abs(across)) / strength, 0.0), 1.2)
    # Mean likeness over a box of the marker's size, first along rows, then along columns.
    reach_col, reach_row = max(1, round(_BOX_RATIO * radius / step_col)), max(1, round(_BOX_RATIO * radius / step_row))
    for i in range(tall):
        sums[i, :wide] = 0.0
        for k in range(-reach_col, reach_col + 1):
            for j in range(max(0, -k), min(wide, wide - k)):
                sums[i, j] += like[i, j + k]
    size = (2 * reach_col + 1) * (2 * reach_row + 1)
    best, likeness, best_i, best_j = -1.0, -1.0, 0, 0
    for i in range(tall):
        box = like[i]
        box[:wide] = 0.0
        for k in range(max(0, i - reach_row), min(tall, i + reach_row + 1)):
            for j in range(wide):
                box[j] += sums[k, j]
        away_row = (top + i - middle_row) / half_row
        for j in range(wide):
            away_col, mean = (left + j - middle_col) / half_col, box[j] / size
            value = mean - _PREFER_MIDDLE * (away_col * away_col + away_row * away_row)
            if mean > _LEAST_LIKENESS and value > best:
                best, likeness, best_i, best_j = value, mean, i, j
    return likeness, (left + best_j) * step_col + siting[2], (top + best_i) * step_row + siting[3]


def _fit_disc(
    blue: Any, red: Any, siting: Any, col: Any, row: Any, ellipse: Any, direction: Any, whole: Any, neutral: Any,  # noqa: ANN401
    samples: Any, sides: Any, normal: Any, right: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """Whether it came to rest; place, contrast, squares, number of samples, and the marker's chroma across its colour.

    ``normal`` is left as its factor.
    """
    m11, m12, m22, _ = ellipse
    determinant = m11 * m22 - m12 * m12
    reach_x, reach_y = math.sqrt(m22 / determinant) + _BEYOND_PX, math.sqrt(m11 / determinant) + _BEYOND_PX
    contrast, ground = 0.8 * whole, 0.0
    good, number, squares, across = False, 0, 0.0, 0.0
    held = (-1, -1, -1, -1)
    for turn in range(_MOST_TURNS):
        first_i, last_i = frame_window(row - reach_y, row + reach_y, siting[3], siting[1], blue.shape[0], _SIDE)
        first_j, last_j = frame_window(col - reach_x, col + reach_x, siting[2], siting[0], blue.shape[1], _SIDE)
        window = (first_i, last_i, first_j, last_j)
        if window != held:
            held = window
            number = _gather(blue, red, siting, window, neutral, direction, whole, samples, sides)
        if number < _FEWEST:
            break
        squares, across = _sum(samples, sides, number, col, row, ellipse, contrast, ground, normal, right)
        if not solve(normal, right, _UNKNOWNS):
            break
        jump_px = math.sqrt(right[0] * right[0] + right[1] * right[1])
        share = 1.0 if jump_px < _LONGEST_STEP_PX else _LONGEST_STEP_PX / jump_px
        col += share * right[0]
        row += share * right[1]
        contrast = max(contrast + right[2], _LEAST_CONTRAST * whole)
        ground += right[3]
        if jump_px < (_FAIR_STEP_PX if turn == _MOST_TURNS - 1 else _LAST_STEP_PX):
            good = True
            break
    return good, col, row, contrast, squares, number, across


def _gather_own(
    blue: Any, red: Any, siting: Any, window: Any, neutral: Any, direction: Any, whole: Any, samples: Any, sides: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """Chroma along the colour and across it, with places; samples of another colour belong to a neighbour."""
    first_i, last_i, first_j, last_j = window
    n = 0
    for i in range(first_i, last_i + 1):
        for j in range(first_j, last_j + 1):
            b, r = blue[i, j] - neutral[0], red[i, j] - neutral[1]
            along, across = b * direction[0] + r * direction[1], b * direction[1] - r * direction[0]
            if along < -0.2 * whole or abs(across) > 0.35 * whole + 0.5 * abs(along):
                continue
            samples[0, n], sides[n] = along, across
            samples[2, n], samples[3, n] = j * siting[0] + siting[2], i * siting[1] + siting[3]
            n += 1
    return n


def _sum_disc(
    samples: Any, sides: Any, number: Any, col: Any, row: Any, ellipse: Any, contrast: Any, ground: Any,  # noqa: ANN401
    normal: Any, right: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """Fill right side and normal matrix; give squares, and how much marker and ground differ across the colour."""
    m11, m12, m22, radius = ellipse
    per_edge, squares = radius / EDGE_PX, 0.0
    # Written out: loops over the four unknowns take twice as long.
    r0 = r1 = r2 = r3 = a2 = a3 = 0.0
    n00 = n10 = n11 = n20 = n21 = n22 = n30 = n31 = n32 = 0.0
    for n in range(number):
        dx, dy = samples[2, n] - col, samples[3, n] - row
        mx, my = m11 * dx + m12 * dy, m12 * dx + m22 * dy
        rho = math.sqrt(max(dx * mx + dy * my, 1e-6))
        at = (min(max((1.0 - rho) * per_edge, -_FAR), _FAR) + _FAR) * _FINE
        k = np.int32(at)
        inside = _STEP[k] + (at - k) * (_STEP[k + 1] - _STEP[k])
        steep = inside * (1.0 - inside) * per_edge / rho
        by_col, by_row = contrast * steep * mx, contrast * steep * my
        residual = samples[0, n] - ground - contrast * inside
        squares += residual * residual
        r0 += by_col * residual
        r1 += by_row * residual
        r2 += inside * residual
        r3 += residual
        a2 += inside * sides[n]
        a3 += sides[n]
        n00 += by_col * by_col
        n10 += by_row * by_col
        n11 += by_row * by_row
        n20 += inside * by_col
        n21 += inside * by_row
        n22 += inside * inside
        n30 += by_col
        n31 += by_row
        n32 += inside
    right[0], right[1], right[2], right[3] = r0, r1, r2, r3
    normal[0, 0], normal[1, 0], normal[1, 1] = n00, n10, n11
    normal[2, 0], normal[2, 1], normal[2, 2] = n20, n21, n22
    normal[3, 0], normal[3, 1], normal[3, 2], normal[3, 3] = n30, n31, n32, number
    # A straight line through ``inside``.
    return squares, (number * a2 - n32 * a3) / max(number * n22 - n32 * n32, 1e-9)


_search = compile_kept(_search_window, **FAST)
_gather = compile_kept(_gather_own, **FAST)
_sum = compile_kept(_sum_disc, **ANY_ORDER)
_fit = compile_kept(_fit_disc, **FAST)
