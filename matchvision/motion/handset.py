"""The rope's ends where a person set them: placed on the table, and joined between those frames."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import direction_jacobian, place_with_uncertainty
from matchvision.motion.ropestate import Hitches
from matchvision.motion.sighting import Sighting
from matchvision.motion.smoothing import Smoothed
from matchvision.records.tracks import Tracks, TrackState
from matchvision.uncertainty import join_values


@dataclass(frozen=True, eq=False)
class HandEnds:
    """Ends of the rope that a person set, e of them.

    Attributes
    ----------
    columns : e columns of the tracks
    number : e numbers, 0 for the rope's first end, 1 for its second
    place_m, u_place_m : (n, e, 3) and (n, e, 2) float arrays
        Joined over the frames; NaN before the first and after the last that was set. The uncertainty is of x and y,
        clicks and joining alone.
    u_height_m : (e,) float array
    set_here : (n, e) bool array
    camera_jacobian : (n, e, 2, 15) float array
    lever : (n, e, 2) float array
        How x and y move with the height.
    """

    columns: tuple[int, ...]
    number: tuple[int, ...]
    place_m: FloatArray
    u_place_m: FloatArray
    u_height_m: FloatArray
    set_here: BoolArray
    camera_jacobian: FloatArray
    lever: FloatArray


def join_hand_ends(tracks: Tracks, sighting: Sighting, real_s: FloatArray) -> tuple[Tracks, HandEnds | None]:
    """Ends that were set by hand, and the tracks with the places between them as bridged.

    A place is joined on the table, not in the picture, so that a camera that moves does no harm.

    Notes
    -----
    Checked by: tests/motion/test_handset.py::test_between_two_frames_the_uncertainty_grows
    """
    columns = [k for k, plan in enumerate(tracks.plans) if plan.kind == "end"]
    if not columns:
        return tracks, None
    n, count = len(real_s), len(columns)
    above = np.broadcast_to(np.array([tracks.plans[k].at_m[2] for k in columns]), (n, count))
    placing = sighting.place(columns, sighting.above(columns, above))
    own = placing.cov_own + sighting.own_spread(placing.camera_jacobian)
    set_here = tracks.measured[:, columns] & np.isfinite(placing.x_m)
    place, u_place = np.full((n, count, 3), np.nan), np.full((n, count, 2), np.nan)
    for k in range(count):
        rows = np.flatnonzero(set_here[:, k])
        if not len(rows):
            continue
        for axis, values in enumerate((placing.x_m, placing.y_m)):
            u = np.sqrt(own[rows, k, axis, axis])
            joined = join_values(real_s[rows], values[rows, k], u, real_s)
            place[:, k, axis], u_place[:, k, axis] = joined.value, joined.u_value
        heights = np.interp(np.arange(n), rows, placing.z_m[rows, k])
        place[:, k, 2] = np.where(np.isfinite(place[:, k, 0]), heights, np.nan)
    parameters = sighting.parameters[:, None, :]
    pixels = project_points(parameters, place)
    by_x, by_y = (direction_jacobian(parameters, place, np.array(way)) for way in ([1.0, 0, 0], [0, 1.0, 0]))
    u_pixels = np.hypot(by_x * u_place[..., :1], by_y * u_place[..., 1:])
    again = place_with_uncertainty(
        sighting.parameters, sighting.whole_covariance, pixels, u_pixels, place[..., 2], np.zeros(1)
    )
    higher = place_with_uncertainty(
        sighting.parameters, sighting.whole_covariance, pixels, u_pixels, place[..., 2] + 1e-3, np.zeros(1)
    )
    lever = np.stack([higher.x_m - again.x_m, higher.y_m - again.y_m], axis=-1) / 1e-3
    ends = HandEnds(
        columns=tuple(columns),
        number=tuple(0 if tracks.plans[k].arc_m == 0.0 else 1 for k in columns),
        place_m=place,
        u_place_m=u_place,
        u_height_m=np.array([tracks.plans[k].u_height_m for k in columns]),
        set_here=set_here,
        camera_jacobian=again.camera_jacobian,
        lever=lever,
    )
    between = np.isfinite(pixels[..., 0]) & ~set_here
    return _fill(tracks, columns, between, pixels, u_pixels), ends


def _fill(
    tracks: Tracks, columns: Sequence[int], between: BoolArray, pixels: FloatArray, u_pixels: FloatArray
) -> Tracks:
    """Tracks with the joined places in them."""
    new = {name: getattr(tracks, name).copy() for name in ("col_px", "row_px", "u_col_px", "u_row_px", "state")}
    for k, column in enumerate(columns):
        rows = between[:, k]
        new["col_px"][rows, column], new["row_px"][rows, column] = pixels[rows, k].T
        new["u_col_px"][rows, column], new["u_row_px"][rows, column] = u_pixels[rows, k].T
        new["state"][rows, column] = TrackState.BRIDGED
    return replace(tracks, **new)


def add_hand_ends(hitches: Hitches, ends: HandEnds | None, *, joined: bool) -> Hitches:
    """Hitches with the ends that a person set, where no machine's pose tells them.

    Parameters
    ----------
    joined : bool
        Whether places between frames in which an end was set count: not where beads show the rope there, since the
        smoothing over time would take one joined error for many.
    """
    if ends is None:
        return hitches
    place, jacobian = hitches.place_m.copy(), hitches.camera_jacobian.copy()
    u_own, u_height = hitches.u_own_m.copy(), hitches.u_height_m.copy()
    for k, number in enumerate(ends.number):
        known = np.isfinite(ends.place_m[:, k, 0]) if joined else ends.set_here[:, k]
        rows = known & ~hitches.known[:, number]
        place[rows, number] = ends.place_m[rows, k]
        jacobian[rows, number] = 0.0
        jacobian[rows, number, :2] = ends.camera_jacobian[rows, k]
        u_own[rows, number] = ends.u_place_m[rows, k, 0]
        u_height[rows, number] = np.abs(ends.lever[rows, k, 0]) * ends.u_height_m[k]
    return Hitches(place, jacobian, u_own, u_height)


def join_crossing(
    real_s: FloatArray, plus_m: FloatArray, u_own_m: FloatArray, span_m: FloatArray, length_m: float, ends: HandEnds
) -> Smoothed:
    """Rope on the +x side (n,) over time, from the frames in which a person set an end.

    Nothing but its two ends shows how the rope lies. As far as it is longer than the straight way between them it may
    lie on either side of the centre line, all of it or none: a rectangle, which is as unsure as its width over √12.
    """
    excess_m = np.maximum(length_m - span_m, 0.0)
    rows = np.flatnonzero(ends.set_here.any(axis=1) & np.isfinite(plus_m) & np.isfinite(span_m) & (u_own_m > 0))
    n = len(real_s)
    nothing = np.full(n, np.nan)
    covariance = np.full((n, 3, 3), np.nan)
    kept = np.zeros(n, dtype=np.bool_)
    if not len(rows):
        return Smoothed(nothing, nothing, nothing, covariance, np.nan, np.full(max(n - 1, 0), np.nan), kept)
    # How the excess lies does not change its mind from frame to frame: it lasts, and is added after joining.
    joined = join_values(real_s[rows], plus_m[rows], u_own_m[rows], real_s)
    lasting = np.interp(real_s, real_s[rows], excess_m[rows] / np.sqrt(12))
    covariance[:, 0, 0], covariance[:, 1, 1] = joined.u_value**2 + lasting**2, joined.u_rate**2
    kept[rows] = True
    return Smoothed(joined.value, joined.rate, nothing, covariance, 1.0, np.full(max(n - 1, 0), np.nan), kept)


def lengthen(
    ratio: FloatArray,
    u_ratio: FloatArray,
    span_m: FloatArray,
    length_m: float,
    hitches: Hitches,
    ends: HandEnds,
    taut_ratio: float,
) -> tuple[FloatArray, FloatArray]:
    """Relative stretch (n,) and its u of a rope of which nothing is seen but its ends.

    It is never shorter than the straight way between its ends. Where that is plainly longer than the sheet says, it is
    the rope's length; where it is not plainly shorter, the rope is taken to be taut, and a taut cord is stretched. Only
    frames in which an end was set tell; the rope's length does not jump between them.
    """
    rows = np.flatnonzero(ends.set_here.any(axis=1) & np.isfinite(span_m))
    if not len(rows):
        return ratio, u_ratio
    u = (np.hypot(hitches.u_own_m[rows, 0], hitches.u_own_m[rows, 1]) + hitches.u_height_m[rows].sum(axis=1)) / length_m
    longer = span_m[rows] / length_m - 1
    told = 2 * np.hypot(u, u_ratio[rows])
    plainly = longer > told
    at = np.arange(len(ratio))
    more = np.interp(at, rows, np.where(plainly, longer, np.where(longer > -told, taut_ratio, 0.0)))
    u_more = np.interp(at, rows, np.where(plainly, u, 0.0))
    return np.maximum(ratio, more), np.hypot(u_ratio, u_more)
