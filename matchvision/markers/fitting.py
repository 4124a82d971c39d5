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
from matchvision.markers import kernels, summing
from matchvision.markers.kernels import FAST, likeness, solve
from matchvision.markers.summing import EDGE, FAR, FINE, HUBER, STEEP, join_samples, sum_samples, trace_edge

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
    rows, cols = luma.shape
    rows_c, cols_c = blue.shape
    normal = np.empty((UNKNOWNS, UNKNOWNS))
    own = np.empty((UNKNOWNS, UNKNOWNS))
    right = np.empty(UNKNOWNS)
    own_right = np.empty(UNKNOWNS)
    now = np.empty(UNKNOWNS)
    slope = np.empty(UNKNOWNS)
    scales = np.empty(2)
    usual = np.empty(2)
    counts = np.zeros(2)
    residuals = np.empty((2, _WIDEST, _WIDEST))
    sizes = np.zeros((2, 2), np.int64)
    softness = np.ones(2)
    # Samples of each plane, one after the other: level, whether they count, place, and what they show of the edge.
    flat = np.empty((2, 4, _WIDEST * _WIDEST))
    traced = np.empty((3, _WIDEST * _WIDEST))
    slopes, judged = np.empty((UNKNOWNS, _WIDEST * _WIDEST)), np.empty((2, _WIDEST * _WIDEST))
    held = np.zeros((2, 5), np.int64)
    for w in range(place.shape[0]):
        if not (math.isfinite(place[w, 0]) and math.isfinite(place[w, 1]) and free[w] > 0):
            continue
        count = free[w]
        to_blue, to_red, whole = direction[w, 0], direction[w, 1], strength[w]
        now[:] = 0.0
        known = math.isfinite(before[w, LUMA_SCALE])
        if known:
            for p in range(CHROMA, FREE_WHILE_FOLLOWING):
                now[p] = before[w, p]
            scales[0], scales[1] = before[w, CHROMA_SCALE], before[w, LUMA_SCALE]
            usual[0], usual[1] = _UNUSUAL * scales[0], _UNUSUAL * scales[1]
        else:
            now[CHROMA] = 0.9 * whole
            # Luma's level is unknown at first, and the place must not hear of it.
            scales[0], scales[1] = 0.1 * whole, 1e3
        counts[1] = 0
        now[COL], now[ROW] = place[w, 0], place[w, 1]
        now[BLUR], now[SIZE], now[SHADE_ACROSS], now[SHADE_DOWN] = blur, size[w], shade[w, 0], shade[w, 1]
        along_x, along_y = streak[w, 0], streak[w, 1]
        # A streak is a sum over Gauss and Legendre's points along the way, so many as its length asks for.
        way = math.hypot(along_x, along_y) / blur
        nodes = 1 if way < _STILL else min(2 + int(way / _BLURS_A_NODE), _MOST_NODES)
        first_node = nodes * (nodes - 1) // 2
        good, kept, samples = False, 0.0, 0
        held[:] = -1
        for turn in range(_MOST_TURNS):
            soft, grown = now[BLUR], now[SIZE]
            m11, m12, m22 = inverse[w, 0] / grown**2, inverse[w, 1] / grown**2, inverse[w, 2] / grown**2
            mean = radius[w] * grown
            determinant = m11 * m22 - m12 * m12
            reach_x = math.sqrt(m22 / determinant) + _BEYOND_PX + _BEYOND_BLURS * soft + streak[w, 2]
            reach_y = math.sqrt(m11 / determinant) + _BEYOND_PX + _BEYOND_BLURS * soft + streak[w, 3]
            # Smaller half-axis, for the rings within and beyond which there is no edge.
            small = 1 / math.sqrt(0.5 * (m11 + m22) + math.sqrt(0.25 * (m11 - m22) ** 2 + m12 * m12))
            shaded = now[SHADE_ACROSS] != 0.0 or now[SHADE_DOWN] != 0.0 or count > FREE_WHILE_FOLLOWING
            normal[:] = 0.0
            right[:] = 0.0
            kept, samples = 0.0, 0
            if not in_luma[w]:
                for p in range(LUMA, LUMA_DOWN + 1):
                    normal[p, p] = 1.0
            for plane in range(2 if in_luma[w] else 1):
                if plane == 0:
                    stride_x, stride_y, start_x, start_y = siting[0], siting[1], siting[2], siting[3]
                    tall, wide, linear = rows_c, cols_c, 4
                    level, ground = now[CHROMA], now[CHROMA_GROUND]
                    lit = level
                else:
                    stride_x, stride_y, start_x, start_y = 1.0, 1.0, 0.0, 0.0
                    tall, wide, linear = rows, cols, 6
                    level, ground = now[LUMA], now[LUMA_GROUND]
                    # Shade dims all of the marker's light, not its difference from the ground.
                    lit = level + ground - 16.0
                # What covers a marker must not set the measure by which it is judged.
                scale = min(scales[plane], usual[plane]) if known else scales[plane]
                b = math.sqrt(soft * soft + (stride_x * stride_x + stride_y * stride_y) / 24)
                full = (max(1 - (FAR + b / small) * b / small, 0.0)) ** 2
                empty = (1 + FAR * b / small) ** 2
                bend = b / (2 * mean)
                local = linear + count - FREE_WHILE_FOLLOWING
                own[:] = 0.0
                own_right[:] = 0.0
                first_i = max(0, math.ceil((now[ROW] - reach_y - start_y) / stride_y))
                last_i = min(tall - 1, math.floor((now[ROW] + reach_y - start_y) / stride_y), first_i + _WIDEST - 1)
                first_j = max(0, math.ceil((now[COL] - reach_x - start_x) / stride_x))
                last_j = min(wide - 1, math.floor((now[COL] + reach_x - start_x) / stride_x), first_j + _WIDEST - 1)
                squares, weights, number = 0.0, 0.0, 0
                following = count == FREE_WHILE_FOLLOWING and not learn_likeness
                if following:
                    values, valid, xs, ys = flat[plane, 0], flat[plane, 1], flat[plane, 2], flat[plane, 3]
                    if (
                        held[plane, 0] != first_i or held[plane, 1] != last_i
                        or held[plane, 2] != first_j or held[plane, 3] != last_j
                    ):  # fmt: skip
                        at_n = 0
                        for i in range(first_i, last_i + 1):
                            for j in range(first_j, last_j + 1):
                                xs[at_n], ys[at_n] = j * stride_x + start_x, i * stride_y + start_y
                                valid[at_n] = 1.0
                                if plane == 0:
                                    off_blue = blue[i, j] - neutral[0]
                                    off_red = red[i, j] - neutral[1]
                                    value = off_blue * to_blue + off_red * to_red
                                    across = off_blue * to_red - off_red * to_blue
                                    values[at_n] = value
                                    # Samples of another colour belong to a neighbour.
                                    if value < -0.25 * whole or abs(across) > 0.35 * whole + 0.5 * abs(value):
                                        valid[at_n] = 0.0
                                else:
                                    values[at_n] = luma[i, j]
                                at_n += 1
                        held[plane, 0], held[plane, 1], held[plane, 2] = first_i, last_i, first_j
                        held[plane, 3], held[plane, 4] = last_j, at_n
                    at_n = held[plane, 4]
                    traced[:, :at_n] = 0.0
                    for node in range(first_node, first_node + nodes):
                        trace_edge(
                            xs, ys, at_n, now[COL] + _NODES[node] * along_x, now[ROW] + _NODES[node] * along_y,
                            m11, m12, m22, mean, b, full, empty, _SHARES[node], traced,
                        )  # fmt: skip
                    squares, weights, counted = sum_samples(
                        values, valid, xs, ys, traced, at_n, now[COL], now[ROW], mean, b, level, ground, lit,
                        now[SHADE_ACROSS], now[SHADE_DOWN], 1.0 * plane, plane * now[LUMA_ACROSS],
                        plane * now[LUMA_DOWN], scale, own_right, own,
                    )  # fmt: skip
                    number = int(counted)
                    last_i_looked = first_i - 1
                else:
                    last_i_looked = last_i
                for i in range(first_i, last_i_looked + 1):
                    dy = i * stride_y + start_y - now[ROW]
                    for j in range(first_j, last_j + 1):
                        dx = j * stride_x + start_x - now[COL]
                        edge, by_col, by_row, by_blur, by_size = 0.0, 0.0, 0.0, 0.0, 0.0
                        on_edge = False
                        for node in range(first_node, first_node + nodes):
                            at_x, at_y = dx - _NODES[node] * along_x, dy - _NODES[node] * along_y
                            mx = m11 * at_x + m12 * at_y
                            my = m12 * at_x + m22 * at_y
                            q = at_x * mx + at_y * my
                            if q >= empty:
                                continue
                            if q <= full:
                                edge += _SHARES[node]
                                continue
                            length = math.sqrt(mx * mx + my * my) + 1e-9
                            rho = math.sqrt(q)
                            d = (1 - rho) * rho / length if rho > 0.2 else mean
                            t = d / b - bend
                            if t >= FAR:
                                edge += _SHARES[node]
                            elif t > -FAR:
                                at = (t + FAR) * FINE
                                k = int(at)
                                at -= k
                                edge += _SHARES[node] * (EDGE[k] + at * (EDGE[k + 1] - EDGE[k]))
                                steep = _SHARES[node] * STEEP[k]
                                on_edge = True
                                by_col += steep * mx / length
                                by_row += steep * my / length
                                if count > FREE_WHILE_FOLLOWING:
                                    by_blur += steep * (-d / (b * b) - 1 / (2 * mean))
                                    by_size += steep * q / length
                        tilt = (now[SHADE_ACROSS] * dx + now[SHADE_DOWN] * dy) / mean
                        bright = level + lit * tilt
                        slope[2] = edge * (1 + tilt)
                        slope[3] = 1.0
                        if plane == 0:
                            off_blue = blue[i, j] - neutral[0]
                            off_red = red[i, j] - neutral[1]
                            value = off_blue * to_blue + off_red * to_red
                            across = off_blue * to_red - off_red * to_blue
                            # Samples of another colour belong to a neighbour.
                            if value < -0.25 * whole or abs(across) > 0.35 * whole + 0.5 * abs(value):
                                if learn_likeness:
                                    residuals[plane, i - first_i, j - first_j] = math.nan
                                continue
                            residual = value - ground - edge * bright
                        else:
                            slope[3] += edge * tilt
                            slope[4] = dx / mean
                            slope[5] = dy / mean
                            residual = (
                                luma[i, j] - ground - edge * bright
                                - now[LUMA_ACROSS] * slope[4] - now[LUMA_DOWN] * slope[5]
                            )  # fmt: skip
                        far = abs(residual) / scale
                        share = 1.0 if far < HUBER else HUBER / far
                        squares += share * residual * residual
                        weights += share
                        slope[0] = slope[1] = 0.0
                        if on_edge or shaded:
                            slope[0] = bright * by_col / b - edge * lit * now[SHADE_ACROSS] / mean
                            slope[1] = bright * by_row / b - edge * lit * now[SHADE_DOWN] / mean
                        if learn_likeness:
                            residuals[plane, i - first_i, j - first_j] = residual
                        if count > FREE_WHILE_FOLLOWING:
                            slope[linear] = bright * by_blur * soft / b
                            slope[linear + 1] = bright * by_size / (b * grown)
                            slope[linear + 2] = edge * lit * dx / mean
                            slope[linear + 3] = edge * lit * dy / mean
                        for p in range(local):
                            slopes[p, number] = slope[p]
                        judged[0, number], judged[1, number] = share, residual
                        number += 1
                if not following:
                    join_samples(slopes, judged, number, local, own_right, own)
                if number < 9:
                    samples = 0
                    break
                kept += weights
                samples += number
                counts[plane] = number
                scales[plane] = math.sqrt(max(squares / max(weights - linear + 1, 1.0), _LEAST_VARIANCE))
                if plane == 1 and turn == 0 and not known:
                    scales[1] = 1e3
                sizes[plane, 0], sizes[plane, 1] = last_i - first_i + 1, last_j - first_j + 1
                softness[plane] = b / math.sqrt(stride_x * stride_y)
                weight = 1 / (scales[plane] * scales[plane] * alike[plane])
                for p in range(local):
                    at_p = _OF_CHROMA[p] if plane == 0 else _OF_LUMA[p]
                    right[at_p] += weight * own_right[p]
                    for k in range(p + 1):
                        at_k = _OF_CHROMA[k] if plane == 0 else _OF_LUMA[k]
                        normal[at_p, at_k] += weight * own[p, k]
            if samples == 0 or not solve(normal, right, count):
                break
            step = math.hypot(right[COL], right[ROW])
            share = 1.0 if step < 1.0 else 1.0 / step
            for p in range(count):
                now[p] += share * right[p] if p < CHROMA else right[p]
            now[BLUR] = min(max(now[BLUR], 0.3), 4.0)
            now[SIZE] = min(max(now[SIZE], 0.7), 1.4)
            now[SHADE_ACROSS] = min(max(now[SHADE_ACROSS], -0.8), 0.8)
            now[SHADE_DOWN] = min(max(now[SHADE_DOWN], -0.8), 0.8)
            if step < _LAST_STEP_PX and (turn >= 2 or (known and turn >= 1)):
                good = True
                break
        if not good or math.hypot(now[COL] - place[w, 0], now[ROW] - place[w, 1]) > 0.5 * radius[w] + 1.5:
            continue
        # Columns of the inverse of the normal matrix's triangle: their products sum to the inverse's elements.
        for axis in range(count):
            total, mixed = 0.0, 0.0
            for p in range(axis, count):
                value = 1.0 if p == axis else 0.0
                for k in range(axis, p):
                    value -= normal[p, k] * slope[k]
                slope[p] = value / normal[p, p]
                total += slope[p] * slope[p]
                if axis == COL:
                    own_right[p] = slope[p]
                elif axis == ROW:
                    mixed += slope[p] * own_right[p]
            answer[w, UNKNOWNS + axis] = total
            if axis == ROW:
                answer[w, COVARIANCE] = mixed
        for p in range(UNKNOWNS):
            answer[w, p] = now[p]
        if learn_likeness:
            for plane in range(2 if in_luma[w] else 1):
                fitted = 4 + 2 * plane + count - FREE_WHILE_FOLLOWING
                answer[w, CHROMA_ALIKE + plane] = likeness(
                    residuals[plane], sizes[plane, 0], sizes[plane, 1], softness[plane], fitted
                )
        answer[w, CHROMA_SCALE], answer[w, LUMA_SCALE], answer[w, KEPT] = scales[0], scales[1], kept / samples
        answer[w, CHROMA_COUNT], answer[w, LUMA_COUNT] = counts[0], counts[1]


fit_discs: Any = compile_kept(_fit_discs, made_of=(Path(kernels.__file__), Path(summing.__file__)), **FAST)
