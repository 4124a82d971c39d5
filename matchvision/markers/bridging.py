"""Short gaps: a position between two seen ones, with an uncertainty that grows into the gap."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

#: Longest gap that is bridged, from seen to seen [s].
LONGEST_GAP_S: Final = 0.16


def bridge_gaps(
    clip_s: FloatArray, place_px: FloatArray, u_px: FloatArray, still: bool = False
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int8]]:
    """Positions, uncertainties (n, 2) and states (n,) of one marker with its short gaps bridged.

    Parameters
    ----------
    clip_s : (n,) float array
    place_px, u_px : (n, 2) float arrays
        NaN where the marker was not seen.
    still : bool
        Leave every gap open.

    Notes
    -----
    A straight line between the ends errs by at most half the acceleration times the times to both ends; the
    acceleration is the median size of the marker's own second differences near the gap, at least what would move it
    by a pixel in the gap. Nothing is said before the first or after the last sight.
    Checked by: tests/markers/test_bridging.py::test_a_bridge_holds_an_accelerated_marker_within_its_uncertainty
    """
    place, u = place_px.copy(), u_px.copy()
    seen = np.flatnonzero(np.isfinite(place_px).all(axis=1))
    state = np.full(len(clip_s), TrackState.LOST, dtype=np.int8)
    state[seen] = TrackState.SEEN
    if still:
        return place, u, state
    ends = np.flatnonzero(np.diff(seen) > 1)
    for before, after in zip(seen[ends].tolist(), seen[ends + 1].tolist(), strict=True):
        length_s = clip_s[after] - clip_s[before]
        if length_s > LONGEST_GAP_S:
            continue
        gap = np.arange(before + 1, after)
        share = ((clip_s[gap] - clip_s[before]) / length_s)[:, None]
        place[gap] = (1 - share) * place_px[before] + share * place_px[after]
        u_ends = np.sqrt(((1 - share) * u_px[before]) ** 2 + (share * u_px[after]) ** 2)
        bend = 0.5 * _acceleration(clip_s, place_px, seen, before, after, length_s) * share * (1 - share) * length_s**2
        u[gap] = np.hypot(u_ends, bend)
        state[gap] = TrackState.BRIDGED
    return place, u, state


def _acceleration(
    clip_s: FloatArray, place_px: FloatArray, seen: npt.NDArray[np.int64], before: int, after: int, length_s: float
) -> float:
    """Size of the marker's acceleration near a gap [px/s²]."""
    near = seen[(seen >= before - 6) & (seen <= after + 6)]
    least = 8.0 / length_s**2
    if len(near) < 3:
        return least
    times, places = clip_s[near], place_px[near]
    speed = np.diff(places, axis=0) / np.diff(times)[:, None]
    middle = (times[1:] + times[:-1]) / 2
    change = np.linalg.norm(np.diff(speed, axis=0), axis=1) / np.diff(middle)
    # Across the gap the change of speed says most; elsewhere noise over short steps says least.
    across = (near[:-2] <= before) & (near[2:] >= after)
    return max(least, float(change[across].max()) if across.any() else least)


def join_tracks(
    plans: tuple[MarkerPlan, ...],
    frame: Sequence[int],
    clip_s: Sequence[float],
    place_px: FloatArray,
    u_px: FloatArray,
) -> Tracks:
    """The tracks of all frames from what each frame showed, (m, 2) a frame; short gaps bridged.

    Arrays of places and uncertainties become the tracks' own, and their gaps are filled where they lie.
    """
    size = (len(frame), len(plans), 2)
    times = np.array(clip_s, dtype=np.float64)
    place, u = np.asarray(place_px).reshape(size), np.asarray(u_px).reshape(size)
    state = np.zeros(size[:2], dtype=np.int8)
    for i in range(len(plans)):
        bridged_px, u_bridged_px, state[:, i] = bridge_gaps(times, place[:, i], u[:, i])
        # Nothing else changes, and of a long clip what is not written to need not come into memory.
        gaps = np.flatnonzero(state[:, i] == TrackState.BRIDGED)
        place[gaps, i], u[gaps, i] = bridged_px[gaps], u_bridged_px[gaps]
    return Tracks(
        plans=plans,
        frame=np.array(frame, dtype=np.int64),
        clip_s=times,
        col_px=place[:, :, 0],
        row_px=place[:, :, 1],
        u_col_px=u[:, :, 0],
        u_row_px=u[:, :, 1],
        state=state,
    )
