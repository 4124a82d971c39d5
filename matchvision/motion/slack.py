"""The height of a slack rope: its shape at rest, and how it gets there when it is let go.

A slack cord is taken to bend upwards with one curvature k wherever it is off the table, z'' = k along its length: the
shape of a cord of even weight under a small even pull. It rises to a hitch at height h over a length √(2 (h − r)/k),
rests on the table at the beads' radius r between, and hangs free where the two rises meet. k = 0 is the taut rope.
"""

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d

from matchvision.motion.standing import Profile, raise_above, surface_at

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: Curvatures tried for a slack rope [1/m]: from nearly straight to a rise within a few centimetres.
CURVATURES_PER_M = np.geomspace(0.02, 60.0, 26)
#: Beads off their own straight line by more than this (root mean square) are on a slack rope [m].
SLACK_BOW_M = 0.0035
GRAVITY_M_S2 = 9.81
#: A rope let go is looked for in the air no longer than this [s].
LONGEST_FALL_S = 0.25


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
    """Heights and their spread (n, m) under the curvatures' weights in each slack frame; zeros elsewhere.

    On a slope the cord's shape is counted from the surface under it.
    """
    n, m = foot.shape[:2]
    heights, spread = np.zeros((n, m)), np.zeros((n, m))
    frames = np.flatnonzero(slack)
    if len(frames) == 0:
        return heights, spread
    costs = np.zeros((len(CURVATURES_PER_M), n))
    shapes = np.zeros((len(CURVATURES_PER_M), n, m))
    whole_arc = np.concatenate([[0.0], arc_m, [length_m]])
    u_seg = np.full(m + 1, 0.0007)
    u_seg[[0, -1]] = 0.0015
    cases = {(bool(a), bool(b)) for a, b in off[frames]}
    for case in cases:
        chosen = frames[(off[frames] == case).all(axis=1)]
        above = ends[chosen, :, 2] - surface_at(profile_m, ends[chosen, :, 0])
        h = np.where(case, radius_m, np.median(above, axis=0))
        table = slack_heights(arc_m, length_m, h, radius_m, CURVATURES_PER_M)
        shapes[:, chosen] = table[:, None, :]
        for row, shape in enumerate(table):
            z = raise_above(profile_m, foot[chosen], lever[chosen], shape)[..., None]
            place = np.concatenate([foot[chosen] + lever[chosen] * z, z], axis=-1)
            line = np.concatenate([ends[chosen, :1], place, ends[chosen, 1:]], axis=1)
            if case[0]:
                line[:, 0] = np.nan
            if case[1]:
                line[:, -1] = np.nan
            apart = np.linalg.norm(np.diff(line, axis=1), axis=-1) - np.diff(whole_arc)
            # Hidden beads leave out two pieces; their sum is still the cord's.
            costs[row, chosen] = np.nansum(np.minimum(np.abs(apart / u_seg), 6.0) ** 2, axis=1)
    tick = float(np.median(np.diff(real_s))) if n > 1 else 1.0
    width = max(1.0, 0.05 / tick)
    known = gaussian_filter1d(slack.astype(np.float64), width, mode="constant")
    costs = gaussian_filter1d(costs * slack, width, axis=1, mode="constant") / np.maximum(known, 1e-9)
    weight = np.exp(-0.5 * (costs - costs.min(axis=0)))
    weight /= weight.sum(axis=0)
    heights = np.einsum("cn,cnm->nm", weight, shapes)
    spread = np.sqrt(np.maximum(np.einsum("cn,cnm->nm", weight, shapes**2) - heights**2, 0.0))
    return raise_above(profile_m, foot, lever, heights), spread


def let_sink(
    z: FloatArray,
    u: FloatArray,
    foot: FloatArray,
    lever: FloatArray,
    taut_z: FloatArray,
    ends: FloatArray,
    slack: BoolArray,
    floor_m: FloatArray,
    real_s: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """A taut rope that goes slack at its hitches sinks as a whole before it takes its slack shape.

    How far it has sunk follows from how far its beads seem to have moved sideways, as long as they stay straight.
    """
    starts = np.flatnonzero(slack[1:] & ~slack[:-1]) + 1
    z, u = z.copy(), u.copy()
    along = ends[:, 1, :2] - ends[:, 0, :2]
    unit = along / np.linalg.norm(along, axis=-1, keepdims=True)
    away = foot + lever * taut_z[..., None] - ends[:, :1, :2]
    for start in starts:
        rows = np.flatnonzero((real_s > real_s[start] - 0.12) & (real_s < real_s[start] + 0.15))
        side = np.stack([-unit[rows, 1], unit[rows, 0]], axis=-1)[:, None, :]
        across, slope = np.sum(away[rows] * side, axis=-1), np.sum(lever[rows] * side, axis=-1)
        steep = np.nansum(slope**2, axis=1)
        with_room = np.maximum(steep, 1e-9)
        drop = np.clip(np.nansum(slope * across, axis=1) / with_room, 0.0, None)
        count = np.maximum(np.isfinite(across).sum(axis=1), 1)
        left = np.sqrt(np.nansum((across - slope * drop[:, None]) ** 2, axis=1) / count)
        fits = (left < SLACK_BOW_M) & (steep > 0.1) & (drop > 0.002)
        rows, drop = rows[fits], drop[fits]
        z[rows] = np.maximum(taut_z[rows] - drop[:, None], floor_m[rows])
        u[rows] = 0.003
    return z, u


def let_fall(
    z: FloatArray, u: FloatArray, taut_z: FloatArray, off: BoolArray, floor_m: FloatArray, real_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """A rope let go falls from where it was taut; it is in the air for about a tenth of a second."""
    gone = np.asarray(off.any(axis=1))
    starts = np.flatnonzero(gone & ~np.concatenate([[False], gone[:-1]]))
    z, u = z.copy(), u.copy()
    for start in starts:
        if start == 0:
            continue
        # Let go some time between two frames.
        tick = real_s[start] - real_s[start - 1]
        since = real_s[start:] - real_s[start] + 0.5 * tick
        falling = since < LONGEST_FALL_S
        rows = np.arange(start, len(real_s))[falling]
        last = taut_z[start - 1]
        some = np.isfinite(last).any()
        last = np.where(np.isfinite(last), last, last[np.isfinite(last)].mean() if some else floor_m[start - 1])
        before = np.broadcast_to(last, taut_z[rows].shape)
        dropped = np.maximum(before - 0.5 * GRAVITY_M_S2 * since[falling, None] ** 2, floor_m[rows])
        higher = np.maximum(dropped, z[rows])
        in_air = higher > z[rows] + 1e-6
        u[rows] = np.where(in_air, 0.002 + GRAVITY_M_S2 * since[falling, None] * tick / np.sqrt(3), u[rows] + 0.002)
        z[rows] = higher
    return z, u
