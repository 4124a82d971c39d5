"""What is said of the markers that were followed, and which are missed."""

from pathlib import Path

import numpy as np
import pytest

from matchvision.markers.noting import describe_tracks
from matchvision.records.sheet import ClockSheet, Load, Machine, RopeSheet, RunInfo, RunSheet, TableSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

FRAMES = 40


def lift_sheet(*, hangs: bool, ends: tuple[str, str] = ("heron", "weight")) -> RunSheet:
    return RunSheet(
        run=RunInfo(name="up", clip=Path("clip.mp4"), kind="lift"),
        clock=ClockSheet(start_s=0.0, duration_s=1.0),
        table=TableSheet(length_m=2.0, width_m=1.0),
        rope=RopeSheet(length_m=0.9, ends=ends),
        machine={"heron": Machine(home="-x"), "weight": Machine(home="+x", load=Load(hangs=hangs))},
    )


def followed(*shares: float) -> Tracks:
    """Beads along the rope, each seen in so large a share of the frames."""
    plans = tuple(MarkerPlan(f"bead_{k}", "bead", "red", 0.009, arc_m=0.1 * k) for k in range(1, len(shares) + 1))
    seen = np.arange(FRAMES)[:, None] < FRAMES * np.array(shares)
    places = np.where(seen, 100.0, np.nan)
    state = np.where(seen, TrackState.SEEN, TrackState.LOST).astype(np.int8)
    return Tracks(plans, np.arange(FRAMES), np.arange(FRAMES) / 30, places, places, places / 1000, places / 1000, state)


def test_beads_that_hang_beside_the_table_are_not_missed() -> None:
    tracks = followed(1.0, 1.0, 0.5, 0.0)
    note = describe_tracks(tracks, sheet=lift_sheet(hangs=True))
    assert note.status == "done"
    assert note.advice == ()
    assert "2 beads hang beyond the pulley" in note.sentence
    turned = describe_tracks(followed(0.0, 0.5, 1.0), sheet=lift_sheet(hangs=True, ends=("weight", "heron")))
    assert "2 beads hang beyond the pulley" in turned.sentence


@pytest.mark.parametrize("sheet", [None, lift_sheet(hangs=False)])
def test_elsewhere_they_are(sheet: RunSheet | None) -> None:
    note = describe_tracks(followed(1.0, 1.0, 0.5, 0.0), sheet=sheet)
    assert note.status == "partly"
    assert "never found: bead_4 (red)" in note.warnings
    assert any("bead_3 (50 %)" in warning for warning in note.warnings)


def test_one_on_the_near_side_is_missed_in_a_lift_too() -> None:
    note = describe_tracks(followed(0.0, 1.0, 1.0, 0.0), sheet=lift_sheet(hangs=True))
    assert note.warnings == ("never found: bead_1 (red)",)
    assert "1 bead hangs beyond the pulley" in note.sentence
