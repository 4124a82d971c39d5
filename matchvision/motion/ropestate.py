"""The rope's state in each frame: taut, slack or off its hitch, and how high its beads are."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.motion.ends import find_off, latch, longer_cord, look_at_end
from matchvision.motion.falling import let_down
from matchvision.motion.sighting import Sighting
from matchvision.motion.slack import SLACK_BOW_M, fit_slack_heights
from matchvision.motion.surface import TURNS, TautWay, surface_at, taut_way

#: Beads off their own straight line by less than this are on a taut rope again [m].
TAUT_BOW_M = 0.0022
#: Beads' line further from the hitches' line than this is slack as well [m].
SLACK_OFFSET_M = 0.015
#: Hitches nearer to each other than the rope is long by more than this leave it slack [m].
SLACK_SPAN_M = 0.012
#: Standard uncertainty of a height that the taut line or the slack shape gives [m].
U_TAUT_HEIGHT_M = 0.0007
U_SLACK_HEIGHT_M = 0.0015
#: … and how well rope on a crest is known to be a bead's radius above it (share of that).
U_CREST_RATIO = 0.25
#: How well a pulley is set at the height of the hitch that pulls over it [m].
U_PULLEY_HEIGHT_M = 0.005
#: A rope neither of whose hitches is known lies anywhere between the table and this height [m].
HIGHEST_UNKNOWN_M = 0.10


@dataclass(frozen=True, eq=False)
class Hitches:
    """Both ends' hitches: places (n, 2, 3), NaN where unknown, with what is unsure about their x.

    ``u_own_m`` (n, 2) is new in every frame, ``u_height_m`` (n, 2) comes from the height and lasts.
    """

    place_m: FloatArray
    camera_jacobian: FloatArray
    u_own_m: FloatArray
    u_height_m: FloatArray

    @property
    def known(self) -> BoolArray:
        """(n, 2) bool array."""
        return np.asarray(np.isfinite(self.place_m).all(axis=-1), dtype=np.bool_)


@dataclass(frozen=True, eq=False)
class RopeState:
    """Whether the rope is taut, slack or let go in each frame, and how high its markers are.

    Attributes
    ----------
    z_m, u_z_m : (n, m) float arrays
        Heights of the rope's markers, in the order given.
    slack : (n,) float array
        1 slack, 0 taut, NaN unknown.
    off : (n, 2) bool array
        Whether an end has come off its hitch.
    heights_known : bool
        False where no hitch is known at all.
    way : TautWay or None
        How the rope goes while taut; None where not both hitches are known.
    longer_m : (2,) tuple
        How much longer the cord at each end is than stated, where that is seen; heights and states are by that length.
    """

    z_m: FloatArray
    u_z_m: FloatArray
    slack: FloatArray
    off: BoolArray
    heights_known: bool
    way: TautWay | None = None
    longer_m: tuple[float, float] = (0.0, 0.0)


def _held(series: FloatArray) -> FloatArray:
    """Heights of a hitch carried over frames in which its machine was not seen."""
    at = np.flatnonzero(np.isfinite(series))
    return np.interp(np.arange(len(series)), at, series[at]) if len(at) else series


def find_state(
    sighting: Sighting,
    columns: list[int],
    arc_m: FloatArray,
    length_m: float,
    radius_m: float,
    hitches: Hitches,
    real_s: FloatArray,
    link: tuple[int, int] | None = None,
    *,
    to_pulley: bool = False,
) -> RopeState:
    """Heights of the rope's markers and the rope's state, frame by frame.

    Parameters
    ----------
    columns : markers on the rope, sorted by arc length
    arc_m : (m,) float array
        Their arc lengths on the unstretched rope.
    length_m : float
        The whole rope's.
    link : places among the columns of the sprung link's two markers, if there is one
    to_pulley : whether the end without a hitch runs over a pulley, at about the other's height, to a weight

    Notes
    -----
    Taut: heights on the straight line between the hitches. Seen obliquely, a rope that is not there does not look
    straight, so its beads' bow tells slack from taut. Slack: the curvature is fitted to the distances between
    neighbouring beads and hitches, which the cord keeps, over about 0.1 s. A released end falls freely.
    Checked by: tests/motion/test_rope.py::test_bead_heights
    """
    n, m = len(real_s), len(columns)
    known = hitches.known.any(axis=0)
    profile = sighting.profile_m
    if not known.any() or m == 0:
        z = sighting.above(columns, np.full((n, m), 0.5 * HIGHEST_UNKNOWN_M))
        return RopeState(
            z,
            np.full((n, m), HIGHEST_UNKNOWN_M / np.sqrt(12)),
            np.full(n, np.nan),
            np.zeros((n, 2), dtype=np.bool_),
            heights_known=False,
        )
    foot, lever = sighting.foot_m[:, columns], sighting.lever[:, columns]
    if not known.all():
        hitch = hitches.place_m[:, int(np.argmax(known))]
        h = float(np.nanmedian(hitch[:, 2] - surface_at(profile, hitch[:, 0])))
        z = sighting.above(columns, np.full((n, m), h if to_pulley else 0.5 * (h + radius_m)))
        u = np.full((n, m), U_PULLEY_HEIGHT_M if to_pulley else max(h - radius_m, 0.01) / np.sqrt(12))
        return RopeState(z, u, np.full(n, np.nan), np.zeros((n, 2), dtype=np.bool_), heights_known=True)
    ends = np.stack([np.stack([_held(hitches.place_m[:, e, i]) for i in range(3)], axis=-1) for e in (0, 1)], axis=1)
    unseen = np.asarray(~hitches.known.all(axis=1))

    way = taut_way(ends, profile, radius_m)
    taut_z, u_taut = _taut_heights(foot, lever, way, radius_m)
    floor = sighting.above(columns, np.full((n, m), radius_m))
    seen = np.asarray(np.isfinite(foot[..., 0]))
    arcs, lengths = _stretched_arcs(foot + lever * taut_z[..., None], taut_z, arc_m, length_m, link)
    line = _fit_line(foot + lever * taut_z[..., None], way, seen)
    sights = (foot, lever, taut_z, ends)
    straight = (line.bow_m < TAUT_BOW_M) & (np.abs(line.mean_m) < 0.7 * SLACK_OFFSET_M) & (line.count >= 3)
    first, second = (longer_cord(look_at_end(e, *sights, arcs, lengths, floor), straight, real_s) for e in (0, 1))
    arcs, arc_m = arcs + first, arc_m + first
    lengths, length_m = lengths + first + second, length_m + first + second
    off = np.stack([find_off(look_at_end(e, *sights, arcs, lengths, floor).gap_m, real_s) for e in (0, 1)], axis=1)
    slack = _find_slack(line, way, lengths) | off.any(axis=1)
    slack_z, u_slack = fit_slack_heights(foot, lever, ends, arc_m, length_m, radius_m, off, slack, real_s, profile)
    z = np.where(slack[:, None], slack_z, taut_z)
    u = np.where(slack[:, None], np.hypot(u_slack, U_SLACK_HEIGHT_M), u_taut)
    gone = np.asarray(off.any(axis=1))
    z, u = let_down(z, u, foot, lever, taut_z, ends, slack, gone, floor, real_s)
    u = np.where(unseen[:, None], np.hypot(u, 0.004), u)
    state = np.where(seen.sum(axis=1) >= 3, slack.astype(np.float64), np.nan)
    return RopeState(z, u, np.where(gone, 1.0, state), off, heights_known=True, way=way, longer_m=(first, second))


def _stretched_arcs(
    place: FloatArray, z_m: FloatArray, arc_m: FloatArray, length_m: float, link: tuple[int, int] | None
) -> tuple[FloatArray, FloatArray]:
    """Arc lengths (n, m) and whole length (n,) with the link's stretch in each frame put in."""
    n, m = z_m.shape
    arcs = np.broadcast_to(arc_m, (n, m))
    if link is None:
        return arcs, np.full(n, length_m)
    first, second = link
    apart = np.hypot(np.linalg.norm(place[:, second] - place[:, first], axis=-1), z_m[:, second] - z_m[:, first])
    stretch = np.maximum(_held(apart) - (arc_m[second] - arc_m[first]), 0.0)
    stretch = np.nan_to_num(stretch)
    return arcs + stretch[:, None] * (np.arange(m) >= second), length_m + stretch


def _taut_heights(foot: FloatArray, lever: FloatArray, way: TautWay, radius_m: float) -> tuple[FloatArray, FloatArray]:
    """Heights (n, m) on the taut rope's way, at the points nearest to the lines of sight, and their uncertainty.

    Where a crest bends the rope, beads lift it there or the bare cord lies on it: in between lies the truth.
    """
    start, along = way.ends_m[:, 0], way.ends_m[:, 1] - way.ends_m[:, 0]
    flat2 = np.sum(along[:, :2] ** 2, axis=-1)[:, None]
    z = np.broadcast_to(0.5 * (way.ends_m[:, 0, 2] + way.ends_m[:, 1, 2])[:, None], foot.shape[:2])
    for _ in range(4 if way.x_m.shape[1] == 2 else TURNS):
        place = foot + lever * z[..., None]
        share = np.sum((place - start[:, None, :2]) * along[:, None, :2], axis=-1) / flat2
        straight = start[:, None, 2] + along[:, None, 2] * share
        z = straight if way.x_m.shape[1] == 2 else way.height_at(start[:, None, 0] + along[:, None, 0] * share)
    bend = way.bend_m.max(axis=1)
    most = np.where(bend > 0, bend, 1.0)[:, None]
    lifted = np.where(bend[:, None] > 0, np.clip((z - straight) / most, 0.0, 1.0), 0.0)
    return np.asarray(z), np.hypot(U_TAUT_HEIGHT_M, U_CREST_RATIO * radius_m * np.nan_to_num(lifted))


@dataclass(frozen=True, eq=False)
class StraightLine:
    """How the seen beads lie about the line from hitch to hitch, (n,) arrays.

    ``mean_m``: their mean distance to its left; ``bow_m``: scatter about their own straight line; ``count``: how many.
    """

    mean_m: FloatArray
    bow_m: FloatArray
    count: FloatArray


def _fit_line(place: FloatArray, way: TautWay, seen: BoolArray) -> StraightLine:
    """A straight line through the beads, where they would be on a taut rope (n, m, 2)."""
    ends = way.ends_m
    along = ends[:, 1, :2] - ends[:, 0, :2]
    unit = along / np.linalg.norm(along, axis=-1, keepdims=True)
    away = place - ends[:, :1, :2]
    across = unit[:, None, 0] * away[..., 1] - unit[:, None, 1] * away[..., 0]
    forward = np.sum(away * unit[:, None, :], axis=-1)
    weight = seen.astype(np.float64)
    count = np.maximum(weight.sum(axis=1), 1.0)
    clean, ahead = np.where(seen, across, 0.0), np.where(seen, forward, 0.0)
    mean, middle = clean.sum(axis=1) / count, ahead.sum(axis=1) / count
    ahead = (ahead - middle[:, None]) * weight
    slope = (ahead * clean).sum(axis=1) / np.maximum((ahead**2).sum(axis=1), 1e-9)
    rest = (clean - mean[:, None]) * weight - slope[:, None] * ahead
    bow = np.sqrt((rest**2).sum(axis=1) / np.maximum(count - 2, 1.0))
    return StraightLine(mean, bow, weight.sum(axis=1))


def _find_slack(line: StraightLine, way: TautWay, length_m: FloatArray) -> BoolArray:
    """Slack (n,), judged from where the beads would be on a taut rope; lengths (n,) with the stretch."""
    mean, bow, span = np.abs(line.mean_m), line.bow_m, way.length_m
    straight_enough = (bow < TAUT_BOW_M) & (mean < 0.7 * SLACK_OFFSET_M) & (span > length_m - SLACK_SPAN_M)
    bent = (bow > SLACK_BOW_M) | (mean > SLACK_OFFSET_M) | (span < length_m - 1.5 * SLACK_SPAN_M)
    few = line.count < 3
    bent = np.where(few, span < length_m - 1.5 * SLACK_SPAN_M, bent)
    straight_enough = np.where(few, span > length_m - SLACK_SPAN_M, straight_enough)
    first_known = not straight_enough[0]
    slack = latch(bent, straight_enough, 2)
    if first_known:
        until = int(np.argmax(straight_enough)) if straight_enough.any() else len(slack)
        slack[: max(until, 1)] |= ~straight_enough[: max(until, 1)]
    return slack
