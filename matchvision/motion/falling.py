"""How a taut rope comes down: let go at one end, or slack at both hitches.

Nothing but its weight pulls a slack rope down, so no bead is lower than free fall from the taut line takes it. When it
was let go is told by how far its beads seem to have moved sideways while they still lie straight: seen obliquely, lower
looks nearer.
"""

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.mechanics.grip import STANDARD_GRAVITY_M_S2
from matchvision.motion.slack import SLACK_BOW_M

#: A rope let go is looked for in the air no longer than this [s].
LONGEST_FALL_S = 0.25
#: So long before a rope is found slack it may have been let go [s]: it falls by the slack's offset, 15 mm, in 0.055 s.
EARLIEST_S = 0.06
#: Drops smaller than this are not told from the beads' own unrest [m].
LEAST_DROP_M = 0.002
#: A straight rope's drop is seen about so well: it may swing sideways as well [m].
U_DROP_M = 0.003
#: Mean square of lever needed to tell a height from a sideways place.
LEAST_STEEP = 0.1


def let_down(
    z: FloatArray,
    u: FloatArray,
    foot: FloatArray,
    lever: FloatArray,
    taut_z: FloatArray,
    ends: FloatArray,
    slack: BoolArray,
    off: BoolArray,
    floor_m: FloatArray,
    real_s: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Heights and their uncertainty (n, m) with each fall put in, between the taut line and the slack shape [m].

    Parameters
    ----------
    z, u : heights by shape where slack and by the line where taut, and their uncertainty
    foot, lever : lines of sight, where they meet the table and how far they go per height
    taut_z : (n, m) heights on the taut line
    ends : (n, 2, 3) the hitches' places
    slack, off : (n,) slack for whatever reason; let go at an end
    floor_m : (n, m) heights at which the beads lie
    real_s : (n,) times of the frames

    Notes
    -----
    h = h_taut − g (t − t₀)²/2, with t₀ = t − √(2 d/g) from each drop d seen, weighed by what their scatter leaves
    open, u(t₀) = u(d)/(g (t − t₀)).
    Checked by: tests/motion/test_falling.py::test_dated_between_two_frames
    """
    z, u = z.copy(), u.copy()
    for start in (np.flatnonzero(slack[1:] & ~slack[:-1]) + 1).tolist():
        drop, straight = _seen_drops(start, foot, lever, taut_z, ends, real_s)
        line = _last_line(taut_z[start - 1], floor_m[start - 1])
        # What lies already tells nothing more of the fall.
        in_air = straight & (drop < np.mean(line - floor_m[start - 1]) - LEAST_DROP_M)
        begun_s, u_begun_s = _let_go(start, drop, in_air, real_s)
        if not off[start]:
            # Slack at both hitches it sinks as a whole: while it lies straight, what is seen is nearer than any law.
            as_seen = straight & (drop > LEAST_DROP_M)
            z[as_seen] = np.maximum(taut_z[as_seen] - drop[as_seen, None], floor_m[as_seen])
            u[as_seen] = U_DROP_M
            if not np.isfinite(begun_s):
                continue
        elif not np.isfinite(begun_s):
            # Some time between the last frame that holds and the first that does not.
            tick = real_s[start] - real_s[start - 1]
            begun_s, u_begun_s = real_s[start] - 0.5 * tick, tick / np.sqrt(12)
        since = real_s - begun_s
        rows = np.flatnonzero((since > 0) & (since < LONGEST_FALL_S) & (np.arange(len(real_s)) >= start) & slack)
        fallen = 0.5 * STANDARD_GRAVITY_M_S2 * since[rows, None] ** 2
        lowest = np.maximum(line - fallen, floor_m[rows])
        higher = lowest > z[rows] + 1e-6
        u_fall = np.hypot(0.002, STANDARD_GRAVITY_M_S2 * since[rows, None] * u_begun_s)
        u[rows] = np.where(higher, u_fall, u[rows] + (0.002 if off[start] else 0.0))
        z[rows] = np.where(higher, lowest, z[rows])
    return z, u


def _seen_drops(
    start: int, foot: FloatArray, lever: FloatArray, taut_z: FloatArray, ends: FloatArray, real_s: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """By how much the rope seems to have dropped below its taut line (n,) [m], and where it then lies straight (n,)."""
    drop, straight = np.full(len(real_s), np.nan), np.zeros(len(real_s), dtype=np.bool_)
    rows = np.flatnonzero((real_s > real_s[start] - 0.12) & (real_s < real_s[start] + 0.15))
    along = ends[rows, 1, :2] - ends[rows, 0, :2]
    unit = along / np.linalg.norm(along, axis=-1, keepdims=True)
    side = np.stack([-unit[:, 1], unit[:, 0]], axis=-1)[:, None, :]
    away = foot[rows] + lever[rows] * taut_z[rows, :, None] - ends[rows, :1, :2]
    across, slope = np.sum(away * side, axis=-1), np.sum(lever[rows] * side, axis=-1)
    steep = np.nansum(np.where(np.isfinite(across), slope, np.nan) ** 2, axis=1)
    found = np.clip(np.nansum(slope * across, axis=1) / np.maximum(steep, 1e-9), 0.0, None)
    count = np.maximum(np.isfinite(across).sum(axis=1), 1)
    left = np.sqrt(np.nansum((across - slope * found[:, None]) ** 2, axis=1) / count)
    drop[rows] = found
    straight[rows] = (left < SLACK_BOW_M) & (steep > LEAST_STEEP)
    return drop, straight


def _let_go(start: int, drop: FloatArray, in_air: BoolArray, real_s: FloatArray) -> tuple[float, float]:
    """When the fall began and its standard uncertainty [s]; NaN where no drop tells it."""
    near = np.zeros(len(real_s), dtype=np.bool_)
    near[start - 1 : start + 3] = True
    near |= (real_s > real_s[start] - EARLIEST_S) & (real_s < real_s[start])
    use = near & in_air & (drop > LEAST_DROP_M)
    if not use.any():
        return float("nan"), float("nan")
    fall_s = np.sqrt(2 * drop[use] / STANDARD_GRAVITY_M_S2)
    began_s, weight = real_s[use] - fall_s, fall_s**2
    mean_s = float(np.sum(weight * began_s) / np.sum(weight))
    if mean_s < real_s[start] - EARLIEST_S or mean_s > real_s[start]:
        return float("nan"), float("nan")
    # A swing to the side goes through all frames of a fall: more frames do not make it smaller.
    return mean_s, float(U_DROP_M / (STANDARD_GRAVITY_M_S2 * fall_s.max()))


def _last_line(taut_z: FloatArray, floor_m: FloatArray) -> FloatArray:
    """Where the beads were last while the rope was taut, as a whole where single ones were hidden (m,) [m]."""
    seen = np.isfinite(taut_z)
    return np.where(seen, taut_z, taut_z[seen].mean() if seen.any() else floor_m)
