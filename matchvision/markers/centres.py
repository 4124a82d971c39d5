"""Sub-pixel centres of coloured discs in small windows of the chroma planes, all windows of a frame in one call.

In each window the best place is sought by the sum of colour likeness over the marker's size, then a blurred disc of
the predicted ellipse is fitted there by least squares, with its contrast and the background free.
"""

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from numba import types

from matchvision.arrays import FloatArray
from matchvision.compiling import compile_kept
from matchvision.records.frames import Frame

#: Widest half-window searched [chroma samples].
_WIDEST: Final = 48
#: Softness of a marker's edge in the chroma planes [luma px]: sampling over two pixels, lens and codec.
EDGE_PX: Final = 0.8
#: Residuals of neighbouring samples are alike (interpolated chroma, coded in blocks): the fit's covariance, which
#: takes them as independent, is too small by about this factor in standard uncertainty.
ALIKE_RATIO: Final = 1.6
#: What no fit residual shows: sticker edges, shading of spheres and the codec's prediction [px].
FLOOR_PX: Final = 0.10
#: Contrast against the marker's own, and misfit, within which a centre is that of a whole marker in plain sight.
CONTRASTS: Final = (0.45, 1.9)
LARGEST_MISFIT: Final = 0.30
#: Columns of the kernel's answer.
_COLUMNS: Final = 9


@dataclass(frozen=True, eq=False)
class Windows:
    """Where to look, for m markers.

    Attributes
    ----------
    place_px : (m, 2) float array
        Predicted places (col, row); NaN: do not look.
    half_px : (m,) float array
        Half the side of the square searched.
    direction, strength, sideways : (m, 2), (m,), (m,) float arrays
        Of the marker's colour, see `Palette`.
    inverse, radius_px : (m, 3), (m,) float arrays
        Of its picture, see `Shapes`.
    neutral : (2,) float array
    """

    place_px: FloatArray
    half_px: FloatArray
    direction: FloatArray
    strength: FloatArray
    sideways: FloatArray
    inverse: FloatArray
    radius_px: FloatArray
    neutral: FloatArray


@dataclass(frozen=True, eq=False)
class Centres:
    """What was found in m windows; NaN where nothing was.

    Attributes
    ----------
    place_px, u_px : (m, 2) float arrays
        Middle of the picture and its standard uncertainty.
    contrast : (m,) float array
        Fitted chroma over the colour's strength.
    misfit : (m,) float array
        Rms residual over the fitted chroma.
    likeness : (m,) float array
        Colour likeness of the place chosen, 0 to about 1.
    across : (m,) float array
        Fitted chroma at a right angle to the colour's direction, towards (red, -blue) of it, over the strength.
    """

    place_px: FloatArray
    u_px: FloatArray
    contrast: FloatArray
    misfit: FloatArray
    likeness: FloatArray
    across: FloatArray


def find_centres(frame: Frame, windows: Windows) -> Centres:
    """Search and fit all windows of a frame.

    Notes
    -----
    The disc's edge is a logistic step of softness `EDGE_PX` in the distance from the ellipse. Uncertainty is the fit's
    own (residual variance times the inverse normal matrix), widened by `ALIKE_RATIO` and joined with `FLOOR_PX`.
    Checked by: tests/markers/test_centres.py::test_stated_uncertainty_is_true_on_synthetic_discs
    """
    count = len(windows.place_px)
    answer = np.full((count, _COLUMNS), np.nan)
    _search_and_fit()(
        frame.blue,
        frame.red,
        float(frame.chroma_step_px[0]),
        float(frame.chroma_step_px[1]),
        float(frame.chroma_offset_px[0]),
        float(frame.chroma_offset_px[1]),
        _row_major(windows.place_px),
        _row_major(windows.half_px),
        _row_major(windows.direction),
        _row_major(windows.strength),
        _row_major(windows.sideways),
        _row_major(windows.inverse),
        _row_major(windows.radius_px),
        _row_major(windows.neutral),
        answer,
    )
    u = np.sqrt((ALIKE_RATIO * answer[:, 2:4]) ** 2 + FLOOR_PX**2)
    return Centres(answer[:, :2], u, answer[:, 4], answer[:, 5], answer[:, 6], answer[:, 8])


def is_clear(centres: Centres) -> npt.NDArray[np.bool_]:
    """Whether each centre is that of a whole marker in plain sight, (m,)."""
    return np.asarray(
        (centres.contrast > CONTRASTS[0]) & (centres.contrast < CONTRASTS[1]) & (centres.misfit < LARGEST_MISFIT),
        dtype=np.bool_,
    )


def choose_centres(first: npt.NDArray[np.bool_], one: Centres, other: Centres) -> Centres:
    """Centres of ``one`` where ``first`` is true, else of ``other``."""
    return Centres(
        np.where(first[:, None], one.place_px, other.place_px),
        np.where(first[:, None], one.u_px, other.u_px),
        np.where(first, one.contrast, other.contrast),
        np.where(first, one.misfit, other.misfit),
        np.where(first, one.likeness, other.likeness),
        np.where(first, one.across, other.across),
    )


def _row_major(values: FloatArray) -> FloatArray:
    return np.ascontiguousarray(values, dtype=np.float64)


@functools.cache
def _search_and_fit() -> Callable[..., None]:
    """The compiled kernel; compiled once and kept on disk where the disk allows it."""
    plane = types.Array(types.uint8, 2, "A", readonly=True)
    flat, table = types.float64[::1], types.float64[:, ::1]
    signature = types.void(plane, plane, *[types.float64] * 4, table, flat, table, flat, flat, table, flat, flat, table)
    return compile_kept(_search_and_fit_windows, signature=signature, fastmath={"contract", "arcp", "nsz"})


def _search_and_fit_windows(
    blue: Any, red: Any, step_col: Any, step_row: Any, offset_col: Any, offset_row: Any,  # noqa: ANN401
    place: Any, half: Any, direction: Any, strength: Any, sideways: Any, inverse: Any, radius: Any, neutral: Any,  # noqa: ANN401
    answer: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    """Fill ``answer``: col, row, their fit deviations, contrast, misfit, likeness, number of samples, chroma across."""
    rows, cols = blue.shape
    side = 2 * _WIDEST + 1
    like = np.empty((side, side))
    across_sums = np.empty((side, side))
    normal = np.empty((4, 4))
    right = np.empty(4)
    step = np.empty(4)
    for w in range(place.shape[0]):
        if not (math.isfinite(place[w, 0]) and math.isfinite(place[w, 1]) and half[w] > 0):
            continue
        middle_col = (place[w, 0] - offset_col) / step_col
        middle_row = (place[w, 1] - offset_row) / step_row
        half_col = min(half[w] / step_col, _WIDEST - 1.0)
        half_row = min(half[w] / step_row, _WIDEST - 1.0)
        left = max(0, math.ceil(middle_col - half_col))
        stop_col = min(cols, math.floor(middle_col + half_col) + 1)
        top = max(0, math.ceil(middle_row - half_row))
        stop_row = min(rows, math.floor(middle_row + half_row) + 1)
        if stop_col - left < 3 or stop_row - top < 3:
            continue
        to_blue, to_red, whole = direction[w, 0], direction[w, 1], strength[w]
        for i in range(top, stop_row):
            for j in range(left, stop_col):
                b = blue[i, j] - neutral[0]
                r = red[i, j] - neutral[1]
                value = (b * to_blue + r * to_red - sideways[w] * abs(b * to_red - r * to_blue)) / whole
                like[i - top, j - left] = min(max(value, 0.0), 1.2)
        # Mean likeness over a box of the marker's size, first along rows, then along columns.
        tall, wide = stop_row - top, stop_col - left
        reach_col = max(1, round(0.6 * radius[w] / step_col))
        reach_row = max(1, round(0.6 * radius[w] / step_row))
        for i in range(tall):
            for j in range(wide):
                total = 0.0
                for k in range(max(0, j - reach_col), min(wide, j + reach_col + 1)):
                    total += like[i, k]
                across_sums[i, j] = total
        best, best_i, best_j = -1.0, -1, -1
        size = (2 * reach_col + 1) * (2 * reach_row + 1)
        for i in range(tall):
            for j in range(wide):
                total = 0.0
                for k in range(max(0, i - reach_row), min(tall, i + reach_row + 1)):
                    total += across_sums[k, j]
                away_col = (left + j - middle_col) / half_col
                away_row = (top + i - middle_row) / half_row
                value = total / size - 0.15 * (away_col * away_col + away_row * away_row)
                if total / size > 0.15 and value > best:
                    best, best_i, best_j = value, i, j
        if best_i < 0:
            continue
        total = 0.0
        for i in range(max(0, best_i - reach_row), min(tall, best_i + reach_row + 1)):
            total += across_sums[i, best_j]
        likeness = total / size
        col = (left + best_j) * step_col + offset_col
        row = (top + best_i) * step_row + offset_row
        # Blurred ellipse with free contrast and background, by Gauss and Newton.
        m11, m12, m22 = inverse[w, 0], inverse[w, 1], inverse[w, 2]
        determinant = m11 * m22 - m12 * m12
        reach_x = math.sqrt(m22 / determinant) + 3.5
        reach_y = math.sqrt(m11 / determinant) + 3.5
        start_col, start_row = col, row
        contrast, ground = whole * 0.8, 0.0
        good, count, squares, aside = False, 0, 0.0, 0.0
        for turn in range(8):
            count, squares = 0, 0.0
            r0 = r1 = r2 = r3 = 0.0
            a2 = a3 = 0.0
            n00 = n10 = n11 = n20 = n21 = n22 = n30 = n31 = n32 = 0.0
            first_i = max(0, math.ceil((row - reach_y - offset_row) / step_row))
            last_i = min(rows - 1, math.floor((row + reach_y - offset_row) / step_row))
            first_j = max(0, math.ceil((col - reach_x - offset_col) / step_col))
            last_j = min(cols - 1, math.floor((col + reach_x - offset_col) / step_col))
            for i in range(first_i, last_i + 1):
                for j in range(first_j, last_j + 1):
                    b = blue[i, j] - neutral[0]
                    r = red[i, j] - neutral[1]
                    value = b * to_blue + r * to_red
                    across = b * to_red - r * to_blue
                    # Samples of another colour belong to a neighbour.
                    if value < -0.2 * whole or abs(across) > 0.35 * whole + 0.5 * abs(value):
                        continue
                    dx = j * step_col + offset_col - col
                    dy = i * step_row + offset_row - row
                    mx = m11 * dx + m12 * dy
                    my = m12 * dx + m22 * dy
                    rho = math.sqrt(max(dx * mx + dy * my, 1e-6))
                    inside = 1.0 / (1.0 + math.exp(-(1.0 - rho) * radius[w] / EDGE_PX))
                    steep = inside * (1.0 - inside) * radius[w] / EDGE_PX / rho
                    by_col, by_row = contrast * steep * mx, contrast * steep * my
                    residual = value - ground - contrast * inside
                    squares += residual * residual
                    count += 1
                    # Written out: loops over the four unknowns take twice as long.
                    r0 += by_col * residual
                    r1 += by_row * residual
                    r2 += inside * residual
                    r3 += residual
                    a2 += inside * across
                    a3 += across
                    n00 += by_col * by_col
                    n10 += by_row * by_col
                    n11 += by_row * by_row
                    n20 += inside * by_col
                    n21 += inside * by_row
                    n22 += inside * inside
                    n30 += by_col
                    n31 += by_row
                    n32 += inside
            if count < 9:
                break
            # Across its direction the marker and its ground differ by this much: a straight line through `inside`.
            aside = (count * a2 - n32 * a3) / max(count * n22 - n32 * n32, 1e-9)
            right[0], right[1], right[2], right[3] = r0, r1, r2, r3
            normal[0, 0], normal[1, 0], normal[1, 1] = n00, n10, n11
            normal[2, 0], normal[2, 1], normal[2, 2] = n20, n21, n22
            normal[3, 0], normal[3, 1], normal[3, 2], normal[3, 3] = n30, n31, n32, count
            # Cholesky: lower triangle of the normal matrix, in place.
            definite = True
            for p in range(4):
                for q in range(p + 1):
                    value = normal[p, q]
                    for k in range(q):
                        value -= normal[p, k] * normal[q, k]
                    if p > q:
                        normal[p, q] = value / normal[q, q]
                    elif value > 1e-9 * (normal[p, p] + 1e-9):
                        normal[p, p] = math.sqrt(value)
                    else:
                        definite = False
                        normal[p, p] = 1.0
            if not definite:
                break
            for p in range(4):
                value = right[p]
                for k in range(p):
                    value -= normal[p, k] * step[k]
                step[p] = value / normal[p, p]
            for p in range(3, -1, -1):
                value = step[p]
                for k in range(p + 1, 4):
                    value -= normal[k, p] * step[k]
                step[p] = value / normal[p, p]
            jump = math.sqrt(step[0] * step[0] + step[1] * step[1])
            scale = 1.0 if jump < 1.5 else 1.5 / jump
            col += scale * step[0]
            row += scale * step[1]
            contrast += step[2]
            ground += step[3]
            if contrast < 0.1 * whole:
                contrast = 0.1 * whole
            if jump < 0.03:
                good = True
                break
            if turn == 7 and jump < 0.1:
                good = True
        away = math.sqrt((col - start_col) ** 2 + (row - start_row) ** 2)
        if not good or away > 0.8 * radius[w] + 3.0 or count < 9:
            continue
        variance = squares / (count - 4)
        # Columns 0 and 1 of the inverse of the triangle: their squares sum to the inverse's diagonal.
        for axis in range(2):
            total = 0.0
            for p in range(axis, 4):
                value = 1.0 if p == axis else 0.0
                for k in range(axis, p):
                    value -= normal[p, k] * step[k]
                step[p] = value / normal[p, p]
                total += step[p] * step[p]
            answer[w, 2 + axis] = math.sqrt(variance * total)
        answer[w, 0], answer[w, 1] = col, row
        answer[w, 4] = contrast / whole
        answer[w, 5] = math.sqrt(variance) / contrast
        answer[w, 6] = likeness
        answer[w, 7] = count
        answer[w, 8] = aside / whole
