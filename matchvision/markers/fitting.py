"""The compiled fit of blurred ellipses to luma and chroma together; `matchvision.markers.refining` calls it.

Model of a sample: ground + contrast · shade · E. E = Φ(t) is the disc's edge under a Gaussian blur,
t = d / b - b / (2 R); d is the distance to the ellipse along its normal, b the blur joined with the sample's own box, R
the mean half-axis. The second term is the first correction for a curved edge. While the shutter is open the disc moves
on: E is then the mean over its way. Luma and the chroma along the marker's colour each have a contrast and a ground of
their own, luma's ground a slope as well; the place, and what the optics do, are shared.
"""

import math
from pathlib import Path
from typing import Any, Final

import numpy as np

from matchvision.compiling import compile_kept
from matchvision.markers import kernels, sampling, summing
from matchvision.markers.kernels import FAST, likeness, solve, spread_place
from matchvision.markers.sampling import frame_window, gather_chroma, gather_luma
from matchvision.markers.summing import FAR, join_samples, slope_samples, sum_samples, trace_edge

#: Order of the fit's unknowns. A following fit stops at FREE_WHILE_FOLLOWING, a learning one adds blur, size and shade.
COL, ROW, CHROMA, CHROMA_GROUND, LUMA, LUMA_GROUND, LUMA_ACROSS, LUMA_DOWN, BLUR, SIZE, SHADE_ACROSS, SHADE_DOWN = (
    range(12)
)
FREE_WHILE_FOLLOWING: Final = 8
UNKNOWNS: Final = 12
#: Columns of the answer after the unknowns' values and variances: residual scales of chroma and luma, share of samples
#: that fit, likeness among neighbours in chroma and in luma, covariance of col and row, samples of chroma and of luma.
CHROMA_SCALE, LUMA_SCALE, KEPT, CHROMA_ALIKE, LUMA_ALIKE, COVARIANCE, CHROMA_COUNT, LUMA_COUNT = range(
    2 * UNKNOWNS, 2 * UNKNOWNS + 8
)
COLUMNS: Final = 2 * UNKNOWNS + 8

#: Residuals are judged by no more than so many times the scale that the marker's have as a rule.
_UNUSUAL: Final = 1.25
#: A marker's luma must stand out by nobody knows how much at first, and the place must not hear of it: its scale then.
_UNHEARD: Final = 1e3
#: Fewest samples of a plane that make a fit.
_FEWEST: Final = 9
#: Luma of black, where light begins.
_BLACK: Final = 16.0
#: Widest part of a plane that is fitted [samples], and how far beyond the ellipse it reaches [px].
_WIDEST: Final = 96
_BEYOND_PX: Final = 1.5
_BEYOND_BLURS: Final = 2.0
#: Least variance of a sample: rounding to whole levels gives 1 / 12.
_LEAST_VARIANCE: Final = 1 / 12
_MOST_TURNS: Final = 8
#: A step so small ends the fit [px]; what it leaves is of second order.
_LAST_STEP_PX: Final = 0.02
#: Streaks shorter than this count as none [blurs]: they widen the edge by 1 %; longer ones take a point for each
#: _BLURS_A_NODE.
_STILL: Final = 0.5
_BLURS_A_NODE: Final = 2.0
_MOST_NODES: Final = 8
#: Gauss and Legendre's points on a way of length 1 about its middle, and their weights: first one point, then two, ...
_RULES: Final = [np.polynomial.legendre.leggauss(k) for k in range(1, _MOST_NODES + 1)]
_NODES: Final = np.concatenate([at / 2 for at, _ in _RULES])
_SHARES: Final = np.concatenate([share / 2 for _, share in _RULES])
#: Rows of a plane's samples, of what they show of the edge, and of what is known of each when all unknowns are free.
_SAMPLE_ROWS, _NARROW_ROWS, _WIDE_ROWS, _JUDGED_ROWS = 4, 3, 5, 2
#: Which unknowns a sample of chroma or of luma bears upon, for each number of free unknowns.
_OF_CHROMA: Final = np.array([COL, ROW, CHROMA, CHROMA_GROUND, BLUR, SIZE, SHADE_ACROSS, SHADE_DOWN])
_OF_LUMA: Final = np.array([COL, ROW, LUMA, LUMA_GROUND, LUMA_ACROSS, LUMA_DOWN, BLUR, SIZE, SHADE_ACROSS, SHADE_DOWN])


def _fit_discs(
    luma: Any, blue: Any, red: Any, siting: Any, place: Any, direction: Any, strength: Any, inverse: Any, radius: Any,  # noqa: ANN401
    neutral: Any, blur: Any, size: Any, shade: Any, streak: Any, alike: Any, free: Any, in_luma: Any, before: Any,  # noqa: ANN401
    learn_likeness: Any, answer: Any,  # noqa: ANN401
) -> None:  # fmt: skip
    """Fill ``answer`` for each marker: the unknowns, their variances, then the columns named above; NaN where no fit.

    ``before`` holds the answer of the last frame, NaN where there is none: levels and residual scales start from it.
    ``streak`` (m, 4) is the way of each marker during the exposure (across, down) and how much further the fit reaches
    for it [px]; the place found is that at the middle of the way.
    Where ``in_luma`` is false, luma is not looked at.
    """
    normal, right = np.empty((UNKNOWNS, UNKNOWNS)), np.empty(UNKNOWNS)
    own, own_right = np.empty((UNKNOWNS, UNKNOWNS)), np.empty(UNKNOWNS)
    now, scales, usual, counts = np.empty(UNKNOWNS), np.empty(2), np.empty(2), np.empty(2)
    samples = np.empty((2, _SAMPLE_ROWS, _WIDEST * _WIDEST))
    narrow, wide = np.empty((_NARROW_ROWS, _WIDEST * _WIDEST)), np.empty((_WIDE_ROWS, _WIDEST * _WIDEST))
    slopes, judged = np.empty((UNKNOWNS, _WIDEST * _WIDEST)), np.empty((2, _JUDGED_ROWS, _WIDEST * _WIDEST))
    # The window whose samples are gathered already, and how many there are.
    held = np.empty((2, 5), np.int64)
    softness = np.empty(2)
    for w in range(place.shape[0]):
        if not (math.isfinite(place[w, 0]) and math.isfinite(place[w, 1]) and free[w] > 0):
            continue
        count, planes = free[w], 2 if in_luma[w] else 1
        following = count == FREE_WHILE_FOLLOWING and not learn_likeness
        traced = narrow if following else wide
        known = _start(now, scales, usual, before[w], place[w], strength[w])
        now[BLUR], now[SIZE], now[SHADE_ACROSS], now[SHADE_DOWN] = blur, size[w], shade[w, 0], shade[w, 1]
        nodes = _count_nodes(streak[w], blur)
        first_node = nodes * (nodes - 1) // 2
        held[:] = -1
        counts[:] = 0
        good, kept, number = False, 0.0, 0.0
        for turn in range(_MOST_TURNS):
            ellipse, small, reach_x, reach_y = _shape(inverse[w], radius[w], now[SIZE], now[BLUR], streak[w])
            normal[:] = 0.0
            right[:] = 0.0
            if planes == 1:
                for p in range(LUMA, LUMA_DOWN + 1):
                    normal[p, p] = 1.0
            kept, number = 0.0, 0.0
            for plane in range(planes):
                grid = (siting[0], siting[1], siting[2], siting[3]) if plane == 0 else (1.0, 1.0, 0.0, 0.0)
                tall, broad = blue.shape if plane == 0 else luma.shape
                first_i, last_i = frame_window(
                    now[ROW] - reach_y, now[ROW] + reach_y, grid[3], grid[1], tall, _WIDEST
                )  # fmt: skip
                first_j, last_j = frame_window(
                    now[COL] - reach_x, now[COL] + reach_x, grid[2], grid[0], broad, _WIDEST
                )  # fmt: skip
                window = (first_i, last_i, first_j, last_j)
                if window != (held[plane, 0], held[plane, 1], held[plane, 2], held[plane, 3]):
                    held[plane, 0], held[plane, 1], held[plane, 2], held[plane, 3] = window
                    if plane == 0:
                        held[0, 4] = gather_chroma(
                            blue, red, siting, window, neutral, direction[w], strength[w], samples[0]
                        )  # fmt: skip
                    else:
                        held[1, 4] = gather_luma(luma, window, samples[1])
                in_all = held[plane, 4]
                edge = _edge(now[BLUR], grid, small)
                light = _light(now, plane)
                traced[:, :in_all] = 0.0
                for node in range(first_node, first_node + nodes):
                    trace_edge(
                        samples[plane], in_all, now[COL] + _NODES[node] * streak[w, 0],
                        now[ROW] + _NODES[node] * streak[w, 1], ellipse, edge, _SHARES[node], traced,
                    )  # fmt: skip
                # What covers a marker must not set the measure by which it is judged.
                scale = min(scales[plane], usual[plane]) if known else scales[plane]
                linear = 6 if plane else 4
                if following:
                    squares, weights, counts[plane] = sum_samples(
                        samples[plane], traced, in_all, now[COL], now[ROW], ellipse[3], edge[0], light, scale,
                        own_right, own,
                    )  # fmt: skip
                else:
                    squares, weights, counts[plane] = slope_samples(
                        samples[plane], traced, in_all, now[COL], now[ROW], ellipse[3], edge[0], light, scale,
                        now[BLUR], now[SIZE], linear, slopes, judged[plane],
                    )  # fmt: skip
                    join_samples(
                        slopes, judged[plane], in_all, linear + count - FREE_WHILE_FOLLOWING, own_right, own
                    )  # fmt: skip
                if counts[plane] < _FEWEST:
                    number = 0.0
                    break
                kept += weights
                number += counts[plane]
                scales[plane] = math.sqrt(max(squares / max(weights - linear + 1, 1.0), _LEAST_VARIANCE))
                if plane == 1 and turn == 0 and not known:
                    scales[1] = _UNHEARD
                softness[plane] = edge[0] / math.sqrt(grid[0] * grid[1])
                weight = 1 / (scales[plane] * scales[plane] * alike[plane])
                of_plane = _OF_LUMA if plane else _OF_CHROMA
                for p in range(linear + count - FREE_WHILE_FOLLOWING):
                    right[of_plane[p]] += weight * own_right[p]
                    for k in range(p + 1):
                        normal[of_plane[p], of_plane[k]] += weight * own[p, k]
            if number == 0 or not solve(normal, right, count):
                break
            step_px = _take_step(now, right, count)
            if step_px < _LAST_STEP_PX and (turn >= 2 or (known and turn >= 1)):
                good = True
                break
        if not good or math.hypot(now[COL] - place[w, 0], now[ROW] - place[w, 1]) > 0.5 * radius[w] + 1.5:
            continue
        answer[w, :UNKNOWNS] = now
        answer[w, COVARIANCE] = spread_place(normal, count, answer[w, UNKNOWNS:])
        if learn_likeness:
            for plane in range(planes):
                fitted = 4 + 2 * plane + count - FREE_WHILE_FOLLOWING
                answer[w, CHROMA_ALIKE + plane] = likeness(
                    judged[plane, 1], samples[plane, 1], held[plane, 1] - held[plane, 0] + 1,
                    held[plane, 3] - held[plane, 2] + 1, softness[plane], fitted,
                )  # fmt: skip
        answer[w, CHROMA_SCALE], answer[w, LUMA_SCALE], answer[w, KEPT] = scales[0], scales[1], kept / number
        answer[w, CHROMA_COUNT], answer[w, LUMA_COUNT] = counts[0], counts[1]


def _start_from(now: Any, scales: Any, usual: Any, before: Any, place: Any, strength: Any) -> Any:  # noqa: ANN401
    """Where the fit of a marker begins: from its last answer, where there is one, which is what is given back."""
    now[:] = 0.0
    now[COL], now[ROW] = place[0], place[1]
    if not math.isfinite(before[LUMA_SCALE]):
        now[CHROMA] = 0.9 * strength
        scales[0], scales[1] = 0.1 * strength, _UNHEARD
        return False
    now[CHROMA:FREE_WHILE_FOLLOWING] = before[CHROMA:FREE_WHILE_FOLLOWING]
    scales[0], scales[1] = before[CHROMA_SCALE], before[LUMA_SCALE]
    usual[0], usual[1] = _UNUSUAL * scales[0], _UNUSUAL * scales[1]
    return True


def _nodes_of_streak(streak: Any, blur: Any) -> Any:  # noqa: ANN401
    """A streak is a sum over Gauss and Legendre's points along the way, so many as its length asks for."""
    way = math.hypot(streak[0], streak[1]) / blur
    return 1 if way < _STILL else min(2 + int(way / _BLURS_A_NODE), _MOST_NODES)


def _shape_of(inverse: Any, radius: Any, size: Any, soft: Any, streak: Any) -> Any:  # noqa: ANN401
    """The ellipse's matrix and mean half-axis; its smaller half-axis; and how far the fit reaches (across, down)."""
    m11, m12, m22 = inverse[0] / size**2, inverse[1] / size**2, inverse[2] / size**2
    determinant = m11 * m22 - m12 * m12
    beyond = _BEYOND_PX + _BEYOND_BLURS * soft
    small = 1 / math.sqrt(0.5 * (m11 + m22) + math.sqrt(0.25 * (m11 - m22) ** 2 + m12 * m12))
    reach_x = math.sqrt(m22 / determinant) + beyond + streak[2]
    return (m11, m12, m22, radius * size), small, reach_x, math.sqrt(m11 / determinant) + beyond + streak[3]


def _edge_of(soft: Any, grid: Any, small: Any) -> Any:  # noqa: ANN401
    """Blur joined with a sample's own box, and the rings within and beyond which there is no edge."""
    b = math.sqrt(soft * soft + (grid[0] * grid[0] + grid[1] * grid[1]) / 24)
    return b, (max(1 - (FAR + b / small) * b / small, 0.0)) ** 2, (1 + FAR * b / small) ** 2


def _light_of(now: Any, plane: Any) -> Any:  # noqa: ANN401
    """Light of a plane as the sums want it. Shade dims all of a marker's luma, not its difference from the ground."""
    if plane == 0:
        level, ground = now[CHROMA], now[CHROMA_GROUND]
        return level, ground, level, now[SHADE_ACROSS], now[SHADE_DOWN], 0.0, 0.0, 0.0
    level, ground = now[LUMA], now[LUMA_GROUND]
    lit = level + ground - _BLACK
    return level, ground, lit, now[SHADE_ACROSS], now[SHADE_DOWN], 1.0, now[LUMA_ACROSS], now[LUMA_DOWN]


def _step_to(now: Any, right: Any, count: Any) -> Any:  # noqa: ANN401
    """Move the unknowns by what was solved for, the place by at most a pixel; how far it would have moved [px]."""
    step = math.hypot(right[COL], right[ROW])
    share = 1.0 if step < 1.0 else 1.0 / step
    for p in range(count):
        now[p] += share * right[p] if p < CHROMA else right[p]
    now[BLUR] = min(max(now[BLUR], 0.3), 4.0)
    now[SIZE] = min(max(now[SIZE], 0.7), 1.4)
    now[SHADE_ACROSS] = min(max(now[SHADE_ACROSS], -0.8), 0.8)
    now[SHADE_DOWN] = min(max(now[SHADE_DOWN], -0.8), 0.8)
    return step


_start = compile_kept(_start_from, **FAST)
_count_nodes = compile_kept(_nodes_of_streak, **FAST)
_shape = compile_kept(_shape_of, **FAST)
_edge = compile_kept(_edge_of, **FAST)
_light = compile_kept(_light_of, **FAST)
_take_step = compile_kept(_step_to, **FAST)
_MADE_OF: Final = (Path(kernels.__file__), Path(sampling.__file__), Path(summing.__file__))
fit_discs: Any = compile_kept(_fit_discs, made_of=_MADE_OF, **FAST)
