"""A footage that contradicts the sheet: what of a ruling still stands."""

import math
from dataclasses import replace

import numpy as np
import pytest

from matchvision.geometry.camera import project_points
from matchvision.records.camera import Camera
from matchvision.records.results import Contradiction, Doubts, Ruling, StageNote, Winning
from matchvision.records.sheet import TableSheet
from matchvision.verdict.doubting import doubt, weigh_doubts

TABLE = TableSheet(length_m=2.2, width_m=1.1)
#: From straight above, 2 m high, 1000 px: a metre of the table is 500 px wherever it lies.
ABOVE = Camera(1280, 720, np.array([1000.0, 1000, 640, 360, *np.zeros(5), math.pi, 0, 0, 0, 0, 2]), 1e-9 * np.eye(15))
SURE = Ruling(
    "plover", 0.100, 0.010, True, "plover has won: plover held 60 % of the rope, 100 mm beyond.", 0.6, 0.01, 8.0
)
NUDGED = Contradiction("[camera] moves", "the tags lie off", "set moves = true", off_px=5.0)
SWAYS = Contradiction("[camera] moves", "the tags wander", "set moves = true")
STRAY = Contradiction("[[table.tag]] id = 3: centre_m", "it was left out", "measure it again", covered=True)


def note(*against: Contradiction) -> StageNote:
    return StageNote("table", "done", "Done.", contradictions=against)


def test_a_shift_in_the_picture_is_one_on_the_table() -> None:
    ends = project_points(ABOVE.parameters, np.array([[0.0, 0, 0], [1, 0, 0]]))
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(500)  # the camera is what is said of it
    doubts = weigh_doubts([note(NUDGED), note(STRAY)], ABOVE, TABLE)
    assert doubts.shift_m == pytest.approx(0.010, rel=1e-3)
    assert doubts.contradictions == (NUDGED,)  # by a camera that moved the tag may only seem to lie elsewhere


def test_the_worse_of_two_witnesses_counts() -> None:
    for order in ((NUDGED, SWAYS), (SWAYS, NUDGED)):
        doubts = weigh_doubts([note(one) for one in order], ABOVE, TABLE)
        assert doubts.contradictions == (SWAYS,)
        assert math.isnan(doubts.shift_m)
    assert weigh_doubts([note(STRAY)], ABOVE, TABLE) == Doubts((STRAY,), 0.0)
    assert weigh_doubts([note()], ABOVE, TABLE) == Doubts()


@pytest.mark.parametrize(
    ("shift_m", "decides"),
    # U95 is 19.6 mm of a margin of 100 mm: up to 80.4 mm more may be off.
    [(0.0, True), (0.080, True), (0.081, False), (math.nan, False)],
)
def test_what_may_outweigh_the_margin_does_not_decide(shift_m: float, *, decides: bool) -> None:
    told = doubt(SURE, Doubts((NUDGED,), shift_m))
    assert told.sure is decides
    assert (told.winner, told.margin_m, told.u_margin_m) == ("plover", 0.100, 0.010)
    assert told.doubts == (NUDGED,)
    if decides:
        assert told.sentence == SURE.sentence
    else:
        assert "has won" not in told.sentence
        assert told.sentence.startswith("The footage contradicts the sheet, so this does not decide: plover held 60 %")


def test_without_contradictions_a_ruling_stays_as_it_is() -> None:
    assert doubt(SURE, Doubts()) is SURE
    close = replace(SURE, sure=False, sentence="Too close to call: plover held 50 %.")
    assert doubt(close, Doubts((NUDGED,), 0.5)).sentence == close.sentence


def test_a_doubt_that_may_turn_who_is_ahead_leaves_no_probability() -> None:
    """Less than half wins: plover is 100 mm beyond it, and yet but 40 ± 10 mm ahead."""
    ahead = replace(SURE, winning=Winning({"heron": 3e-5, "plover": 1 - 3e-5}, 0.0, 0.040, 0.010))
    small = doubt(ahead, Doubts((NUDGED,), 0.020))
    assert (small.sure, small.winning) == (True, ahead.winning)
    large = doubt(ahead, Doubts((NUDGED,), 0.021))
    assert (large.sure, large.winning) == (False, None)
    close = replace(ahead, sure=False)
    assert doubt(close, Doubts((NUDGED,), 0.001)).winning is None
    assert doubt(close, Doubts((STRAY,), 0.0)).winning == ahead.winning
