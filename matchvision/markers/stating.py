"""What a frame's fits state: places and how sure they are, all markers in two compiled calls.

A frame has about twenty markers: numpy's calls would cost far more than the sums.
"""

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numba import types

from matchvision.arrays import BoolArray, FloatArray
from matchvision.compiling import compile_kept
from matchvision.markers.centres import Centres, Windows
from matchvision.markers.fitting import CHROMA, CHROMA_SCALE, COL, COLUMNS, KEPT, LUMA_SCALE, ROW, UNKNOWNS

#: Residual of a sphere's chroma over its contrast up to which a codec's steps are fine, and from which they are coarse:
#: sample clips of usual range lie at 0.045, where spread and statement agree, cyan in PQ at 0.1, where they did not.
_FINE_RATIO: Final = 0.05
_COARSE_RATIO: Final = 0.10
#: Residual scales, by which outliers are told, grow by no more a picture: a hand that comes slowly is one as well.
_GROWTH: Final = 1.03
#: Share of the samples that agree on a marker in plain sight. What covers a part of it leaves its edge with the fit: up
#: to so many blurs for all of the samples, as drawn discs covered by a tenth and a quarter show.
_WHOLE: Final = 0.95
_EDGES_LOST: Final = 1.5
_PALE: Final = 0.75
_CLEAR_MISFIT: Final = 1.5
#: Likeness of luma's residuals from which a codec has been at work: white noise stays below.
_CODED_ALIKE: Final = 1.25
#: What no residual shows of a sphere: what its curved shade, rope and reflections do, in parts of its radius.
_SPHERE_RATIO: Final = 0.015
#: The second fit must stay so near the first, in its standard uncertainties and at least in pixels.
_NEAR_U: Final = 4.0
_NEAR_PX: Final = 0.25

_FLAT: Final = types.float64[:]
_TABLE: Final = types.float64[:, :]
_FLAGS: Final = types.boolean[:]


@dataclass(frozen=True, eq=False)
class Optics:
    """What the clip has taught and the sheet says that decides how sure places are.

    Attributes
    ----------
    blur_px : float
    coded : float
        How much of a codec's work luma's residuals show, 0 to 1.
    alike_in_chroma : float
        How much neighbours' likeness widens variances in chroma.
    spheres : (m,) bool array
    radius_m, side_m : (m,) float arrays
        Of the markers; half the breadth of a disc's side that may count as its face.
    """

    blur_px: float
    coded: float
    alike_in_chroma: float
    spheres: BoolArray
    radius_m: FloatArray
    side_m: FloatArray


def coded_share(alike_in_luma: float) -> float:
    """How much of a codec's work luma's residuals show, 0 to 1."""
    return min(max(alike_in_luma - _CODED_ALIKE, 0.0), 1.0)


def take_fits(
    answer: FloatArray,
    centres: Centres,
    clear: BoolArray,
    windows: Windows,
    optics: Optics,
    usual: FloatArray,
    before: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Variances (m, 2) that the fits claim, and the first fit's u (m, 2) where only that one serves.

    ``usual`` (m, 2), the residual scales that each marker has as a rule, and ``before`` (m, COLUMNS), from which the
    next frame's fits start, move on.

    Notes
    -----
    In a coded clip that gives a colour only a few of its steps, as high dynamic range gives cyan, errors are alike over
    a whole block; the residuals within a marker's window, most of it fitted away, cannot show that, so the variance of
    spheres, which are fitted in chroma alone, grows towards that of a single independent sample a blur.
    """
    variance, first_u_px = np.empty((2, len(answer), 2))
    kernels()[0](
        answer, centres.u_px, centres.misfit, clear, windows.strength, windows.radius_px, optics.spheres,
        optics.blur_px, optics.coded, optics.alike_in_chroma, usual, before, variance, first_u_px,
    )  # fmt: skip
    return variance, first_u_px


def state_places(
    answer: FloatArray,
    centres: Centres,
    clear: BoolArray,
    windows: Windows,
    optics: Optics,
    scattered_px: tuple[float, float],
    spread: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Places and uncertainties (m, 2): those of the second fit where it is to be trusted, else of the first.

    Parameters
    ----------
    scattered_px : (float, float)
        How far discs and spheres scatter beyond what their fits claim.
    spread : pair of (m, 2) float arrays
        As `take_fits` gives them.

    Notes
    -----
    Where the second fit fails although it has served, the first one's misfit tells whether something hides the marker.
    So pale and so ill fitted that about half of it is covered, no share of its edge is to be trusted.
    """
    place_px, u_px = np.empty((2, len(answer), 2))
    kernels()[1](
        answer, centres.place_px, centres.u_px, centres.misfit, clear, windows.strength, windows.inverse,
        windows.radius_px, optics.spheres, optics.radius_m, optics.side_m, optics.blur_px,
        optics.coded * scattered_px[0], optics.coded * scattered_px[1], *spread, place_px, u_px,
    )  # fmt: skip
    return place_px, u_px


@functools.cache
def kernels() -> tuple[Callable[..., None], Callable[..., None]]:
    """The compiled kernels; compiled once and kept on disk where the disk allows it."""
    number = types.float64
    take = types.void(
        _TABLE, _TABLE, _FLAT, _FLAGS, _FLAT, _FLAT, _FLAGS, *[number] * 3, _TABLE, _TABLE, _TABLE, _TABLE
    )
    state = types.void(
        _TABLE, _TABLE, _TABLE, _FLAT, _FLAGS, _FLAT, _TABLE, _FLAT, _FLAGS, _FLAT, _FLAT, *[number] * 3,
        _TABLE, _TABLE, _TABLE, _TABLE,
    )  # fmt: skip
    return compile_kept(_take_loops, signature=take), compile_kept(_state_loops, signature=state)


def _take_loops(
    answer: Any, first_u: Any, misfit: Any, clear: Any, strength: Any, radius: Any, spheres: Any, blur: Any,  # noqa: ANN401
    coded: Any, alike: Any, usual: Any, before: Any, variance: Any, first_only: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    whole = 2 * math.pi * (blur * blur + 1 / 3) / alike
    for i in range(answer.shape[0]):
        coarse = 1.0
        if spheres[i]:
            ratio = answer[i, CHROMA_SCALE] / answer[i, CHROMA]
            share = coded * min(max((ratio - _FINE_RATIO) / (_COARSE_RATIO - _FINE_RATIO), 0.0), 1.0)
            if not math.isnan(ratio):
                coarse = 1 + share * max(whole - 1, 0.0)
        variance[i, 0] = coarse * answer[i, UNKNOWNS + COL]
        variance[i, 1] = coarse * answer[i, UNKNOWNS + ROW]
        excess = 0.0
        noise = _CLEAR_MISFIT * usual[i, 0] / strength[i]
        if clear[i] and math.isfinite(noise):
            excess = math.sqrt(max(misfit[i] * misfit[i] - noise * noise, 0.0)) * radius[i]
        for axis in range(2):
            first_only[i, axis] = math.hypot(first_u[i, axis], excess)
        for p in range(COLUMNS):
            before[i, p] = answer[i, p]
        for plane, column in ((0, CHROMA_SCALE), (1, LUMA_SCALE)):
            found, grown = answer[i, column], _GROWTH * usual[i, plane]
            if math.isnan(found):
                usual[i, plane] = grown
            elif not found > grown:
                # So it is as well where nothing was usual yet.
                usual[i, plane] = found
            else:
                usual[i, plane] = grown
            before[i, column] = usual[i, plane] if math.isfinite(found) else math.nan


def _state_loops(
    answer: Any, first: Any, first_u: Any, misfit: Any, clear: Any, strength: Any, inverse: Any, radius: Any,  # noqa: ANN401
    spheres: Any, radius_m: Any, side_m: Any, blur: Any, of_discs: Any, of_spheres: Any,  # noqa: ANN401
    variance: Any, first_only: Any, place: Any, u: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    for i in range(answer.shape[0]):
        col, row = answer[i, COL], answer[i, ROW]
        away = math.hypot(col - first[i, 0], row - first[i, 1])
        near = away < max(_NEAR_U * math.hypot(first_u[i, 0], first_u[i, 1]), _NEAR_PX)
        if not (clear[i] and near and math.isfinite(variance[i, 0]) and math.isfinite(variance[i, 1])):
            for axis in range(2):
                place[i, axis], u[i, axis] = first[i, axis], first_only[i, axis]
            continue
        lost = _EDGES_LOST * blur * max(_WHOLE - answer[i, KEPT], 0.0)
        hidden = 0.0
        if answer[i, CHROMA] < _PALE * strength[i] and answer[i, KEPT] < _WHOLE:
            hidden = misfit[i] * radius[i]
        if spheres[i]:
            unseen = math.hypot(of_spheres, _SPHERE_RATIO * radius[i])
        else:
            m11, m12, m22 = inverse[i, 0], inverse[i, 1], inverse[i, 2]
            spread = math.sqrt(0.25 * (m11 - m22) ** 2 + m12 * m12)
            flat = (0.5 * (m11 + m22) - spread) / (0.5 * (m11 + m22) + spread)
            side = side_m[i] * radius[i] / radius_m[i] * flat**-0.25 * math.sqrt(1 - flat)
            unseen = math.hypot(of_discs, side)
        place[i, 0], place[i, 1] = col, row
        for axis in range(2):
            u[i, axis] = math.sqrt(variance[i, axis] + lost * lost + hidden * hidden + unseen * unseen)
