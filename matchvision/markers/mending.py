"""Mends by hand, applied to tracks: cut, tie, strike, set, and the rope's ends where nothing marks them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import BoolArray, FloatArray
from matchvision.errors import MarkerError
from matchvision.markers.bridging import bridge_gaps
from matchvision.records.mends import Cut, End, Mends, Put, Strike, Tie
from matchvision.records.results import StageNote
from matchvision.records.sheet import RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

#: How well the height of a hitch is known that the sheet gives and a person points at in the picture [m].
U_HITCH_HEIGHT_M: Final = 0.003
#: A rope's end of unknown height is somewhere between the table and this [m].
HIGHEST_END_M: Final = 0.10


@dataclass(frozen=True, eq=False)
class _Columns:
    """Places and uncertainties (n, m, 2) and states (n, m) that mends may change."""

    place: FloatArray
    u: FloatArray
    state: npt.NDArray[np.int8]

    def lose(self, rows: slice | BoolArray, column: int) -> None:
        self.place[rows, column] = self.u[rows, column] = np.nan
        self.state[rows, column] = TrackState.LOST


def mend_tracks(
    tracks: Tracks, mends: Mends, sheet: RunSheet, clip_sha256: str | None = None
) -> tuple[Tracks, StageNote | None]:
    """Tracks with the mends applied in their order, and what was done; the same tracks where there are none.

    Parameters
    ----------
    tracks : Tracks
        As the markers were followed. They are not changed.
    mends : Mends
    sheet : RunSheet
        For the rope's ends and the heights of their hitches.
    clip_sha256 : str, optional
        Fingerprint of the clip, against which that of the mends is held.

    Raises
    ------
    MarkerError
        Where the mends were made in another clip, or speak of a marker or frame that these tracks do not have.

    Notes
    -----
    A tie takes what was followed before any mend, so that a swap is two ties in any order; what is given away is lost
    to its former name unless a tie gives that one something too. Short gaps of what was changed are bridged anew. A
    rope's end is a marker of its own, ``rope_end_NAME``, known in the frames in which it was set.
    Checked by: tests/markers/test_mending.py::test_a_swap_is_two_ties
    """
    if not mends.mend:
        return tracks, None
    if mends.clip_sha256 is not None and clip_sha256 is not None and mends.clip_sha256 != clip_sha256:
        raise MarkerError(
            f"the mends were made in another clip: fingerprint {mends.clip_sha256[:12]}…, this one {clip_sha256[:12]}…",
            where="mends.toml",
            do="mend this clip anew at the desk, or take the file away",
        )
    columns = {name: column for column, name in enumerate(tracks.names)}
    _refuse_unknown(mends, columns, tracks)
    place = np.stack([tracks.col_px, tracks.row_px], axis=-1)
    raw = _Columns(place, np.stack([tracks.u_col_px, tracks.u_row_px], axis=-1), tracks.state)
    work = _Columns(raw.place.copy(), raw.u.copy(), raw.state.copy())
    given = np.zeros(tracks.state.shape, dtype=np.bool_)
    for mend in mends.mend:
        if isinstance(mend, Cut | Strike):
            last = None if isinstance(mend, Cut) else mend.frame if mend.until_frame is None else mend.until_frame
            rows = _rows(tracks.frame, mend.frame, last)
            work.lose(rows, columns[mend.marker])
        elif isinstance(mend, Tie):
            _tie(raw, work, given, _rows(tracks.frame, mend.frame, mend.until_frame), columns, mend)
        elif isinstance(mend, Put):
            row, column = int(np.searchsorted(tracks.frame, mend.frame)), columns[mend.marker]
            work.place[row, column], work.u[row, column] = mend.pixel, mend.u_px
            work.state[row, column] = TrackState.SET
    touched = {columns[m.marker] for m in mends.mend if not isinstance(m, End)}
    touched |= {columns[m.followed_as] for m in mends.mend if isinstance(m, Tie)}
    for column in touched:
        _bridge_anew(tracks.clip_s, work, column)
    mended = replace(
        tracks,
        col_px=work.place[..., 0],
        row_px=work.place[..., 1],
        u_col_px=work.u[..., 0],
        u_row_px=work.u[..., 1],
        state=work.state,
    )
    mended = _add_ends(mended, [mend for mend in mends.mend if isinstance(mend, End)], sheet)
    return mended, _describe(mends)


def _refuse_unknown(mends: Mends, columns: Mapping[str, int], tracks: Tracks) -> None:
    """Markers that nobody follows, and single frames that the clip does not show."""
    frames = set(tracks.frame.tolist())
    for number, mend in enumerate(mends.mend, start=1):
        names = [] if isinstance(mend, End) else [mend.marker, *([mend.followed_as] if isinstance(mend, Tie) else [])]
        for name in names:
            if name not in columns:
                raise MarkerError(f'mend {number} speaks of "{name}", which is not followed', where="mends.toml")
        if isinstance(mend, Put | End) and mend.frame not in frames:
            raise MarkerError(
                f"mend {number} speaks of picture {mend.frame}; the pictures go from {tracks.frame[0]} to "
                f"{tracks.frame[-1]}, less those that could not be decoded",
                where="mends.toml",
                do="set the point in another picture at the desk",
            )


def _rows(frame: npt.NDArray[np.int64], first: int, last: int | None) -> BoolArray:
    return np.asarray((frame >= first) & ((frame <= last) if last is not None else True), dtype=np.bool_)


def _tie(
    raw: _Columns, work: _Columns, given: BoolArray, rows: BoolArray, columns: Mapping[str, int], mend: Tie
) -> None:
    taker, giver = columns[mend.marker], columns[mend.followed_as]
    work.lose(rows & ~given[:, giver], giver)
    work.place[rows, taker], work.u[rows, taker] = raw.place[rows, giver], raw.u[rows, giver]
    state = raw.state[rows, giver]
    work.state[rows, taker] = np.where(state == TrackState.SEEN, TrackState.TIED, state)
    given[rows, taker] = True


def _bridge_anew(clip_s: FloatArray, work: _Columns, column: int) -> None:
    """Short gaps between what a mended marker shows by itself."""
    state = work.state[:, column].copy()
    found = np.isin(state, (TrackState.SEEN, TrackState.SET, TrackState.TIED))
    place = np.where(found[:, None], work.place[:, column], np.nan)
    u = np.where(found[:, None], work.u[:, column], np.nan)
    work.place[:, column], work.u[:, column], bridged = bridge_gaps(clip_s, place, u)
    work.state[:, column] = np.where(found, state, bridged)


def _add_ends(tracks: Tracks, ends: Sequence[End], sheet: RunSheet) -> Tracks:
    """A column for each end of the rope that was set in some frame."""
    if sheet.rope is None:
        return tracks
    for number, name in enumerate(sheet.rope.ends):
        set_here = {end.frame: end for end in ends if end.end == name}  # a later one in the same frame counts
        if not set_here:
            continue
        frames = np.array(sorted(set_here))
        rows = np.searchsorted(tracks.frame, frames)
        place, u = np.full((2, len(tracks.frame), 2), np.nan)
        place[rows] = [set_here[int(frame)].pixel for frame in frames]
        u[rows] = [[set_here[int(frame)].u_px] for frame in frames]
        state = np.full(len(tracks.frame), TrackState.LOST, dtype=np.int8)
        state[rows] = TrackState.SET
        height_m, u_height_m = _height(list(set_here.values()), name, sheet)
        plan = MarkerPlan(
            f"rope_end_{name}",
            "end",
            "",
            0.0,
            at_m=(0.0, 0.0, height_m),
            arc_m=0.0 if number == 0 else sheet.rope.length_m,
            u_height_m=u_height_m,
        )
        tracks = _with_column(tracks, plan, place, u, state)
    return tracks


def _height(ends: Sequence[End], name: str, sheet: RunSheet) -> tuple[float, float]:
    """Height of an end above the table [m] and its u: as stated with it, as the sheet's hitch, else hardly known."""
    stated = [end.height_m for end in ends if end.height_m is not None]
    if stated:
        return stated[-1].value, stated[-1].u or U_HITCH_HEIGHT_M
    machine = sheet.machine.get(name)
    if machine is not None and machine.hitch is not None:
        return machine.hitch.at_m[2], U_HITCH_HEIGHT_M
    return HIGHEST_END_M / 2, HIGHEST_END_M / float(np.sqrt(12))


def _with_column(
    tracks: Tracks, plan: MarkerPlan, place: FloatArray, u: FloatArray, state: npt.NDArray[np.int8]
) -> Tracks:
    return replace(
        tracks,
        plans=(*tracks.plans, plan),
        col_px=np.column_stack([tracks.col_px, place[:, 0]]),
        row_px=np.column_stack([tracks.row_px, place[:, 1]]),
        u_col_px=np.column_stack([tracks.u_col_px, u[:, 0]]),
        u_row_px=np.column_stack([tracks.u_row_px, u[:, 1]]),
        state=np.column_stack([tracks.state, state]).astype(np.int8),
    )


def _describe(mends: Mends) -> StageNote:
    """How much was done by hand."""
    count = {kind: sum(isinstance(mend, kind) for mend in mends.mend) for kind in (Cut, Strike, Tie, Put, End)}
    words = (
        (Cut, "track cut", "tracks cut"),
        (Strike, "stretch struck", "stretches struck"),
        (Tie, "tie", "ties"),
        (Put, "point set", "points set"),
        (End, "end of the rope set", "ends of the rope set"),
    )
    told = [f"{count[kind]} {one if count[kind] == 1 else many}" for kind, one, many in words if count[kind]]
    return StageNote(
        "mends", "done", f"Mended by hand before anything was measured from the tracks: {', '.join(told)}."
    )
