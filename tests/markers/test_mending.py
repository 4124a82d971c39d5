"""Mends by hand: each does what it says, in order, and nothing else."""

from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import MarkerError
from matchvision.markers import mend_tracks
from matchvision.records.mends import Cut, End, Mend, Mends, Put, Strike, Tie
from matchvision.records.sheet import ClockSheet, RopeSheet, RunInfo, RunSheet, TableSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

SHEET = RunSheet(
    run=RunInfo(name="mended", clip=Path("clip.mp4")),
    clock=ClockSheet(start_s=0.0, duration_s=1.0),
    table=TableSheet(length_m=2.0, width_m=1.0),
    rope=RopeSheet(length_m=0.9, ends=("heron", "plover")),
)
SEEN, BRIDGED, LOST, SET, TIED = (int(state) for state in TrackState)


def made(frames: int = 40, first: int = 100) -> Tracks:
    """Three markers on straight ways; column k is at 100 k in the first frame."""
    plans = tuple(MarkerPlan(name, "bead", "red", 0.009, arc_m=0.1 * k) for k, name in enumerate("abc", start=1))
    time = np.arange(frames)
    col = 100.0 * np.arange(3) + time[:, None] * [1.0, 2.0, 3.0]
    return Tracks(
        plans=plans,
        frame=first + time,
        clip_s=time / 30.0,
        col_px=col,
        row_px=col / 2,
        u_col_px=np.full(col.shape, 0.1),
        u_row_px=np.full(col.shape, 0.1),
        state=np.zeros(col.shape, dtype=np.int8),
    )


def mended(*mends: Mend, tracks: Tracks | None = None) -> Tracks:
    return mend_tracks(tracks or made(), Mends(mend=mends), SHEET)[0]


def test_without_mends_nothing_is_touched_and_nothing_said() -> None:
    tracks = made()
    assert mend_tracks(tracks, Mends(), SHEET) == (tracks, None)


def test_the_tracks_that_were_followed_stay_as_they_were() -> None:
    tracks = made()
    before = tracks.col_px.copy(), tracks.state.copy()
    mended(Cut(do="cut", marker="a", frame=110), Put(do="set", marker="b", frame=111, pixel=(1.0, 2.0)), tracks=tracks)
    np.testing.assert_array_equal(tracks.col_px, before[0])
    np.testing.assert_array_equal(tracks.state, before[1])


def test_cutting_loses_everything_from_there_on() -> None:
    result = mended(Cut(do="cut", marker="b", frame=120))
    assert (result.state[:20, 1] == SEEN).all()
    assert (result.state[20:, 1] == LOST).all()
    assert np.isnan(result.col_px[20:, 1]).all()
    assert (result.state[:, [0, 2]] == SEEN).all()


def test_struck_stretches_are_bridged_when_short_and_lost_when_long() -> None:
    short = mended(Strike(do="strike", marker="a", frame=110, until_frame=112))
    assert (short.state[10:13, 0] == BRIDGED).all()
    assert short.col_px[11, 0] == pytest.approx(11.0)
    assert (short.u_col_px[10:13, 0] > 0.1).all()
    long = mended(Strike(do="strike", marker="a", frame=110, until_frame=120))
    assert (long.state[10:21, 0] == LOST).all()
    assert (long.state[21:, 0] == SEEN).all()
    single = mended(Strike(do="strike", marker="a", frame=110))
    assert single.state[:, 0].tolist().count(BRIDGED) == 1


def test_a_swap_is_two_ties() -> None:
    tracks = made()
    swapped = tracks.col_px.copy()
    swapped[15:, [0, 1]] = tracks.col_px[15:, [1, 0]]
    wrong = Tracks(**{**vars(tracks), "col_px": swapped, "row_px": swapped / 2})
    ties = (
        Tie(do="tie", marker="a", followed_as="b", frame=115),
        Tie(do="tie", marker="b", followed_as="a", frame=115),
    )
    for order in (ties, ties[::-1]):
        right = mended(*order, tracks=wrong)
        np.testing.assert_array_equal(right.col_px, tracks.col_px)
        assert (right.state[15:, :2] == TIED).all()
        assert (right.state[:15] == SEEN).all()
        assert right.measured.all()


def test_what_is_tied_away_is_lost_to_its_former_name() -> None:
    result = mended(Tie(do="tie", marker="a", followed_as="c", frame=110, until_frame=125))
    np.testing.assert_array_equal(result.col_px[10:26, 0], made().col_px[10:26, 2])
    assert (result.state[10:26, 2] == LOST).all()
    assert (result.state[26:] == SEEN).all()


def test_a_set_point_counts_as_measured_with_its_own_uncertainty() -> None:
    result = mended(
        Cut(do="cut", marker="a", frame=110), Put(do="set", marker="a", frame=112, pixel=(55.0, 66.0), u_px=0.7)
    )
    assert result.state[12, 0] == SET
    assert (result.col_px[12, 0], result.row_px[12, 0], result.u_col_px[12, 0]) == (55.0, 66.0, 0.7)
    assert result.measured[12, 0]
    assert (result.state[10:12, 0] == BRIDGED).all()
    assert (result.state[13:, 0] == LOST).all()


def test_later_mends_come_after_earlier_ones() -> None:
    put = Put(do="set", marker="a", frame=112, pixel=(55.0, 66.0))
    cut = Cut(do="cut", marker="a", frame=110)
    assert mended(cut, put).state[12, 0] == SET
    assert mended(put, cut).state[12, 0] == LOST


def test_ends_of_the_rope_become_markers_of_their_own() -> None:
    ends = [End(do="end", end="plover", frame=f, pixel=(float(f), 9.0), u_px=2.0) for f in (101, 130)]
    result, note = mend_tracks(made(), Mends(mend=tuple(ends)), SHEET)
    assert result.names == ("a", "b", "c", "rope_end_plover")
    plan = result.plans[-1]
    assert (plan.kind, plan.arc_m) == ("end", 0.9)
    assert plan.at_m[2] == pytest.approx(0.05)
    assert plan.u_height_m == pytest.approx(0.1 / np.sqrt(12))
    assert np.flatnonzero(result.state[:, -1] == SET).tolist() == [1, 30]
    assert result.u_col_px[30, -1] == 2.0
    assert note is not None
    assert "2 ends of the rope set" in note.sentence


def test_mends_of_another_clip_are_refused() -> None:
    mends = Mends(clip_sha256="ab" * 32, mend=(Cut(do="cut", marker="a", frame=110),))
    with pytest.raises(MarkerError, match="another clip"):
        mend_tracks(made(), mends, SHEET, "cd" * 32)
    assert mend_tracks(made(), mends, SHEET, "ab" * 32)[1] is not None


@pytest.mark.parametrize(
    "mend",
    [Put(do="set", marker="a", frame=99, pixel=(1.0, 1.0)), End(do="end", end="heron", frame=140, pixel=(1.0, 1.0))],
)
def test_pictures_that_the_clip_does_not_have_are_said(mend: Mend) -> None:
    with pytest.raises(MarkerError, match="the pictures go from 100 to 139"):
        mended(mend)
