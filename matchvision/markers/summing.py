"""The sums of a marker's least squares over its samples: what the fit of discs does nearly all of its time.

No loop branches, and sums may be taken in any order, so that the compiler takes several samples at a time.
"""

import math
from typing import Any, Final

import numpy as np

from matchvision.compiling import compile_kept
from matchvision.markers.kernels import ANY_ORDER

#: Edge profile Φ and its slope φ in steps of 1 / 256 from -3.5 to 3.5; beyond that the edge is over, within 0.0003.
FINE: Final = 256
FAR: Final = 3.5
_T: Final = np.arange(int(2 * FAR * FINE) + 2) / FINE - FAR
EDGE: Final = np.array([0.5 * (1 + math.erf(t / math.sqrt(2))) for t in _T])
STEEP: Final = np.exp(-0.5 * _T**2) / math.sqrt(2 * math.pi)
#: Residuals beyond so many of their scale lose weight (Huber).
HUBER: Final = 3.0


def _trace_loop(
    samples: Any, count: Any, col: Any, row: Any, ellipse: Any, edge: Any, part: Any, traced: Any  # noqa: ANN401
) -> None:  # fmt: skip
    """Add a part of what samples show of an ellipse at (col, row): the edge, and its slopes by column and row.

    ``ellipse``: its matrix's three elements and the mean half-axis. ``edge``: the blur, and the squared distance from
    the middle, in half-axes, within and beyond which there is no edge. ``traced`` (3 or 5, …): with five rows the
    slopes by blur and by the logarithm of size come last.
    """
    xs, ys = samples[2], samples[3]
    (m11, m12, m22, mean), (b, full, empty) = ellipse, edge
    bend, by_b, wide = b / (2 * mean), 1 / b, traced.shape[0] > 3
    for n in range(count):
        dx, dy = xs[n] - col, ys[n] - row
        mx = m11 * dx + m12 * dy
        my = m12 * dx + m22 * dy
        q = dx * mx + dy * my
        per_length = 1 / (math.sqrt(mx * mx + my * my) + 1e-9)
        rho = math.sqrt(q)
        d = (1 - rho) * rho * per_length if rho > 0.2 else mean
        t = d * by_b - bend
        at = (min(max(t, -FAR), FAR) + FAR) * FINE
        k = np.int32(at)
        outside = q >= empty or t <= -FAR
        inside = q <= full or t >= FAR
        shown = EDGE[k] + (at - k) * (EDGE[k + 1] - EDGE[k])
        shown = 0.0 if outside else (1.0 if inside else shown)
        steep = 0.0 if outside or inside else part * STEEP[k]
        traced[0, n] += part * shown
        traced[1, n] += steep * per_length * mx
        traced[2, n] += steep * per_length * my
        if wide:
            traced[3, n] -= steep * (d * by_b * by_b + 1 / (2 * mean))
            traced[4, n] += steep * per_length * q


def _sum_loop(
    samples: Any, traced: Any, count: Any, col: Any, row: Any, mean: Any, b: Any, light: Any, scale: Any,  # noqa: ANN401
    right: Any, own: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """Fill right side and the normal matrix's lower triangle for six unknowns; give squares, weights and number.

    The unknowns are place (2), level, ground and the ground's slopes (2); of a plane without slopes, the last two are
    to be left alone. ``light``: level, ground, what shade dims, shade's slopes (2), whether it dims the ground's share
    of the light too (1 or 0), and the ground's slopes (2).
    """
    values, valid, xs, ys = samples[0], samples[1], samples[2], samples[3]
    level, ground, lit, shade_x, shade_y, tilts_ground, slope_x, slope_y = light
    by_b, by_mean, by_scale = 1 / b, 1 / mean, 1 / scale
    squares = weights = number = 0.0
    r0 = r1 = r2 = r3 = r4 = r5 = 0.0
    o00 = o10 = o11 = o20 = o21 = o22 = o30 = o31 = o32 = o33 = 0.0
    o40 = o41 = o42 = o43 = o44 = o50 = o51 = o52 = o53 = o54 = o55 = 0.0
    for n in range(count):
        s4, s5 = (xs[n] - col) * by_mean, (ys[n] - row) * by_mean
        edge = traced[0, n]
        tilt = shade_x * s4 + shade_y * s5
        bright = level + lit * tilt
        residual = values[n] - ground - edge * bright - slope_x * s4 - slope_y * s5
        share = valid[n] * HUBER / max(abs(residual) * by_scale, HUBER)
        moved, shaded = bright * by_b, edge * lit * by_mean
        s0, s1 = moved * traced[1, n] - shaded * shade_x, moved * traced[2, n] - shaded * shade_y
        s2, s3 = edge * (1 + tilt), 1 + tilts_ground * edge * tilt
        w0, w1, w2, w3, w4, w5 = share * s0, share * s1, share * s2, share * s3, share * s4, share * s5
        squares += share * residual * residual
        weights += share
        number += valid[n]
        r0 += w0 * residual
        r1 += w1 * residual
        r2 += w2 * residual
        r3 += w3 * residual
        r4 += w4 * residual
        r5 += w5 * residual
        o00 += w0 * s0
        o10 += w1 * s0
        o11 += w1 * s1
        o20 += w2 * s0
        o21 += w2 * s1
        o22 += w2 * s2
        o30 += w3 * s0
        o31 += w3 * s1
        o32 += w3 * s2
        o33 += w3 * s3
        o40 += w4 * s0
        o41 += w4 * s1
        o42 += w4 * s2
        o43 += w4 * s3
        o44 += w4 * s4
        o50 += w5 * s0
        o51 += w5 * s1
        o52 += w5 * s2
        o53 += w5 * s3
        o54 += w5 * s4
        o55 += w5 * s5
    right[0], right[1], right[2], right[3], right[4], right[5] = r0, r1, r2, r3, r4, r5
    own[0, 0], own[1, 0], own[1, 1] = o00, o10, o11
    own[2, 0], own[2, 1], own[2, 2] = o20, o21, o22
    own[3, 0], own[3, 1], own[3, 2], own[3, 3] = o30, o31, o32, o33
    own[4, 0], own[4, 1], own[4, 2], own[4, 3], own[4, 4] = o40, o41, o42, o43, o44
    own[5, 0], own[5, 1], own[5, 2], own[5, 3], own[5, 4], own[5, 5] = o50, o51, o52, o53, o54, o55
    return squares, weights, number


def _slope_loop(
    samples: Any, traced: Any, count: Any, col: Any, row: Any, mean: Any, b: Any, light: Any, scale: Any,  # noqa: ANN401
    soft: Any, size: Any, linear: Any, slopes: Any, judged: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """As the sums, but sample by sample and for all unknowns: slopes, and weight and residual of each sample.

    Of the unknowns ``linear`` are those of the sums; blur, size and the shade's slopes (2) follow.
    """
    values, valid, xs, ys = samples[0], samples[1], samples[2], samples[3]
    level, ground, lit, shade_x, shade_y, tilts_ground, slope_x, slope_y = light
    squares = weights = number = 0.0
    for n in range(count):
        s4, s5 = (xs[n] - col) / mean, (ys[n] - row) / mean
        edge = traced[0, n]
        tilt = shade_x * s4 + shade_y * s5
        bright = level + lit * tilt
        residual = values[n] - ground - edge * bright - slope_x * s4 - slope_y * s5
        share = valid[n] * HUBER / max(abs(residual) / scale, HUBER)
        slopes[0, n] = bright * traced[1, n] / b - edge * lit * shade_x / mean
        slopes[1, n] = bright * traced[2, n] / b - edge * lit * shade_y / mean
        slopes[2, n], slopes[3, n] = edge * (1 + tilt), 1 + tilts_ground * edge * tilt
        slopes[4, n], slopes[5, n] = s4, s5
        # In a plane without slopes of the ground these take the place of those.
        slopes[linear, n] = bright * traced[3, n] * soft / b
        slopes[linear + 1, n] = bright * traced[4, n] / (b * size)
        slopes[linear + 2, n], slopes[linear + 3, n] = edge * lit * s4, edge * lit * s5
        judged[0, n], judged[1, n] = share, residual
        squares += share * residual * residual
        weights += share
        number += valid[n]
    return squares, weights, number


def _join_loop(slopes: Any, judged: Any, count: Any, unknowns: Any, right: Any, own: Any) -> None:  # noqa: ANN401
    """Fill right side and the normal matrix's lower triangle from each sample's slopes, weight and residual."""
    for p in range(unknowns):
        total = 0.0
        for n in range(count):
            total += judged[0, n] * judged[1, n] * slopes[p, n]
        right[p] = total
        for k in range(p + 1):
            total = 0.0
            for n in range(count):
                total += judged[0, n] * slopes[p, n] * slopes[k, n]
            own[p, k] = total


trace_edge = compile_kept(_trace_loop, **ANY_ORDER)
sum_samples = compile_kept(_sum_loop, **ANY_ORDER)
slope_samples = compile_kept(_slope_loop, **ANY_ORDER)
join_samples = compile_kept(_join_loop, **ANY_ORDER)
