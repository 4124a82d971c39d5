"""The height of a slack rope: its shape, at rest and on the move.

A slack cord is taken to bend upwards with one curvature k wherever it is off the table, z'' = k along its length: the
shape of a cord of even weight under a small even pull. It rises to a hitch at height h over a length √(2 (h − r)/k),
rests on the table at the beads' radius r between, and hangs free where the two rises meet. k = 0 is the taut rope.
A cord on the move need not lie so smoothly: as a second kind of shape it hangs as if there were no table, cut off at
it. Which shape it has in each frame is sought over all slack frames at once, as shapes change little from frame to
frame, save where the rope snaps taut.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from matchvision.arrays import BoolArray, FloatArray
from matchvision.compiling import compile_kept
from matchvision.motion.surface import raise_above, surface_at
from matchvision.records.profile import Profile

#: Curvatures tried for a slack rope [1/m]: from nearly straight to a rise within a few centimetres.
CURVATURES_PER_M = np.geomspace(0.02, 60.0, 26)
#: Beads off their own straight line by more than this (root mean square) are on a slack rope [m].
SLACK_BOW_M = 0.0035
#: Scatter of the distances between neighbouring beads, and between end beads and hitches, about the cord's [m].
U_PIECE_M = (0.0007, 0.0015)
#: How well hitches' distance and rope's length together tell how much length is left for sagging [m].
U_SPARE_LENGTH_M = 0.0015
#: Errors of neighbouring frames go together: each counts as this share of a frame.
FRAME_WEIGHT = 0.3
#: How far a shape moves along the curvatures from frame to frame [places], at rest and at a snap; the snaps' share.
SHAPE_STEPS = (0.7, 4.0)
SNAP_SHARE = 0.1
#: Chance that a shape becomes one of the other kind from one frame to the next.
OTHER_KIND_SHARE = 0.05


def slack_heights(
    arc_m: FloatArray, length_m: float, h_m: FloatArray, radius_m: float, curvature_per_m: FloatArray
) -> FloatArray:
    """Heights (c, m) of points at arc lengths (m,) of a cord whose ends stand at heights h (2,), for c curvatures.

    Notes
    -----
    Obstacle problem of z'' = k above z = r. Rises of length l_i = √(2 (h_i − r)/k): while l_1 + l_2 < L the cord lies
    on the table between, z = r + k (l_i − s_i)²/2; else it hangs free, z = h_1 + (h_2 − h_1) s/L − k s (L − s)/2.
    Checked by: tests/derived/test_cord_shape.py::test_branches_meet
    """
    k = np.asarray(curvature_per_m, dtype=np.float64)[:, None]
    s = np.asarray(arc_m, dtype=np.float64)[None, :]
    rise = np.sqrt(2 * np.maximum(h_m - radius_m, 0.0)[None, :] / k)
    lying = radius_m + 0.5 * k * (
        np.maximum(rise[:, :1] - s, 0.0) ** 2 + np.maximum(rise[:, 1:] - (length_m - s), 0.0) ** 2
    )
    hanging = h_m[0] + (h_m[1] - h_m[0]) * s / length_m - 0.5 * k * s * (length_m - s)
    return np.asarray(np.where(rise.sum(axis=1, keepdims=True) < length_m, lying, np.maximum(hanging, radius_m)))


def cut_off_heights(
    arc_m: FloatArray, length_m: float, h_m: FloatArray, radius_m: float, curvature_per_m: FloatArray
) -> FloatArray:
    """Heights (c, m) like `slack_heights`, of a cord that hangs as if there were no table and is cut off at it."""
    k = np.asarray(curvature_per_m, dtype=np.float64)[:, None]
    s = np.asarray(arc_m, dtype=np.float64)[None, :]
    hanging = h_m[0] + (h_m[1] - h_m[0]) * s / length_m - 0.5 * k * s * (length_m - s)
    return np.asarray(np.maximum(hanging, radius_m))


def _both_kinds(arc_m: FloatArray, length_m: float, h_m: FloatArray, radius_m: float) -> FloatArray:
    """Heights (2 c, m) of both kinds of shape over the curvatures."""
    kinds = (slack_heights, cut_off_heights)
    return np.concatenate([kind(arc_m, length_m, h_m, radius_m, CURVATURES_PER_M) for kind in kinds])


def fit_slack_heights(
    foot: FloatArray,
    lever: FloatArray,
    ends: FloatArray,
    arc_m: FloatArray,
    length_m: float,
    radius_m: float,
    off: BoolArray,
    slack: BoolArray,
    real_s: FloatArray,
    profile_m: Profile = (),
) -> tuple[FloatArray, FloatArray]:
    """Heights and their spread (n, m) under the shapes' weights in each slack frame; zeros elsewhere.

    On a slope the cord's shape is counted from the surface under it.

    Notes
    -----
    A shape costs what its beads' distances depart from the cord's, and what it needs more length than the hitches
    leave. Weights by the forward–backward algorithm over the frames, shapes being the states: L. E. Baum et al.,
    Annals of Mathematical Statistics 41 (1970) 164.
    Checked by: tests/motion/test_rope.py::test_rope_that_snaps_taut
    """
    n, m = foot.shape[:2]
    heights, spread = np.zeros((n, m)), np.zeros((n, m))
    frames = np.flatnonzero(slack)
    if len(frames) == 0:
        return heights, spread
    count = 2 * len(CURVATURES_PER_M)
    costs = np.zeros((n, count))
    shapes: list[tuple[npt.NDArray[np.int64], FloatArray]] = []
    pieces_m = np.diff(np.concatenate([[0.0], arc_m, [length_m]]))
    fine = np.linspace(0.0, length_m, 81)
    u_seg = np.full(m + 1, U_PIECE_M[0])
    u_seg[[0, -1]] = U_PIECE_M[1]
    spare = length_m - np.linalg.norm(ends[:, 1] - ends[:, 0], axis=-1)
    cases = {(bool(a), bool(b)) for a, b in off[frames]}
    for case in cases:
        chosen = frames[(off[frames] == case).all(axis=1)]
        ends_here = ends[chosen]
        above = ends_here[..., 2] - surface_at(profile_m, ends_here[..., 0])
        h = np.where(case, radius_m, np.median(above, axis=0))
        table = _both_kinds(arc_m, length_m, h, radius_m)
        shapes.append((chosen, table))
        drawn = _both_kinds(fine, length_m, h, radius_m)
        needed = np.hypot(np.diff(drawn, axis=1), fine[1]).sum(axis=1) - np.hypot(length_m, h[1] - h[0])
        cost, here = np.empty(len(chosen)), (foot[chosen], lever[chosen])
        for row, shape in enumerate(table):
            z = raise_above(profile_m, *here, shape)
            _add_costs(*here, z, ends_here, pieces_m, u_seg, case, cost)
            costs[chosen, row] = cost
            if not any(case):
                over = np.maximum(needed[row] - spare[chosen], 0.0) / U_SPARE_LENGTH_M
                costs[chosen, row] += np.minimum(over, 6.0) ** 2
    weight = np.zeros((n, count))
    for first, last in _runs(slack):
        part = slice(first, last + 1)
        weight[part] = _weigh_shapes(costs[part], taut_before=first > 0, taut_after=last < n - 1)
    for chosen, table in shapes:
        heights[chosen] = weight[chosen] @ table
        spread[chosen] = np.sqrt(np.maximum(weight[chosen] @ table**2 - heights[chosen] ** 2, 0.0))
    return raise_above(profile_m, foot, lever, heights), spread


def _cost_loops(
    foot: Any, lever: Any, z: Any, ends: Any, pieces: Any, u_seg: Any, off: Any, cost: Any  # noqa: ANN401
) -> None:  # fmt: skip
    """Fill what the distances along the rope, at heights (n, m), depart from the cord's, for each frame."""
    n, m = z.shape
    for k in range(n):
        total = 0.0
        before_x, before_y, before_z = ends[k, 0, 0], ends[k, 0, 1], ends[k, 0, 2]
        if off[0]:
            before_x = np.nan
        for i in range(m + 1):
            if i < m:
                x, y, up = foot[k, i, 0] + lever[k, i, 0] * z[k, i], foot[k, i, 1] + lever[k, i, 1] * z[k, i], z[k, i]
            else:
                x, y, up = ends[k, 1, 0], ends[k, 1, 1], ends[k, 1, 2]
                if off[1]:
                    x = np.nan
            apart = math.sqrt((x - before_x) ** 2 + (y - before_y) ** 2 + (up - before_z) ** 2) - pieces[i]
            before_x, before_y, before_z = x, y, up
            # Hidden beads leave out two pieces; their sum is still the cord's.
            if not math.isnan(apart):
                total += min(abs(apart / u_seg[i]), 6.0) ** 2
        cost[k] = total


_add_costs: Callable[..., Any] = compile_kept(_cost_loops)


def _runs(state: BoolArray) -> list[tuple[int, int]]:
    """First and last frames of the stretches in which the state holds."""
    edges = np.diff(np.concatenate([[0], state.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist(), strict=True))


def _weigh_shapes(costs: FloatArray, *, taut_before: bool, taut_after: bool) -> FloatArray:
    """Weights (n, c) of the shapes in each frame of a slack stretch, all its frames taken together."""
    n, count = costs.shape
    kind = count // 2
    place = np.arange(count) % kind
    step = np.abs(place[:, None] - place[None, :])
    rest, snap = (np.exp(-0.5 * (step / sigma) ** 2) / sigma for sigma in SHAPE_STEPS)
    same = (np.arange(count)[:, None] < kind) == (np.arange(count)[None, :] < kind)
    change = ((1 - SNAP_SHARE) * rest + SNAP_SHARE * snap) * np.where(same, 1 - OTHER_KIND_SHARE, OTHER_KIND_SHARE)
    change /= change.sum(axis=1, keepdims=True)
    likely = np.exp(-0.5 * FRAME_WEIGHT * (costs - costs.min(axis=1, keepdims=True)))
    taut = np.where(place == 0, 0.5, 0.0) @ change
    first = likely[0] * (taut if taut_before else 1.0 / count)
    last = (change @ np.where(place == 0, 0.5, 0.0)) if taut_after else np.ones(count)
    forward, backward = np.empty((n, count)), np.empty((n, count))
    _pass_on(likely, np.ascontiguousarray(change), first / first.sum(), last, forward, backward)
    weight = forward * backward
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _pass_loops(likely: Any, change: Any, first: Any, last: Any, forward: Any, backward: Any) -> None:  # noqa: ANN401
    """Fill what each shape owes to the frames before it, and to those behind it, each frame's to a sum of 1."""
    n, count = likely.shape
    forward[0], backward[n - 1] = first, last
    for k in range(1, n):
        whole = 0.0
        forward[k] = 0.0
        for i in range(count):
            for j in range(count):
                forward[k, j] += forward[k - 1, i] * change[i, j]
        for j in range(count):
            forward[k, j] *= likely[k, j]
            whole += forward[k, j]
        for j in range(count):
            forward[k, j] /= whole
    for k in range(n - 2, -1, -1):
        whole = 0.0
        for i in range(count):
            total = 0.0
            for j in range(count):
                total += change[i, j] * likely[k + 1, j] * backward[k + 1, j]
            backward[k, i] = total
            whole += total
        for i in range(count):
            backward[k, i] /= whole


_pass_on: Callable[..., Any] = compile_kept(_pass_loops, fastmath={"contract"})
