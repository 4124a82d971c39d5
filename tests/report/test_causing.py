"""Causes on the page: likeliest first, with what shows them in the clip."""

import dataclasses
from collections.abc import Iterator

import numpy as np
import pytest

from matchvision.footage import read_frames
from matchvision.records.events import Event
from matchvision.records.frames import Frame
from matchvision.records.results import CauseRow
from matchvision.report.causing import draw_causes, find_shown
from matchvision.report.stills import cut_cause
from matchvision.report.wording import cause_words
from tests.report.invented import invent_analysis

NAN = float("nan")
GRIP = CauseRow("less-grip", "heron", 0.9, 0.2, 0.02, "1", 2.9, "heron had less grip, 90 %.")
LATE = CauseRow("late-start", "plover", 0.1, 0.5, 0.1, "s", NAN, "plover started late, 10 %.")
EVENTS = (
    Event("slip", "heron", 2.96, 8.0, 0.05, 0.99, "fast"),
    Event("slip", "plover", 5.0, 6.0, 0.05, 0.99, "fast"),
    Event("lead-change", "", 5.4, NAN, 0.05, 0.99, "changed"),
)


def test_a_cause_shows_the_events_that_it_brings_about() -> None:
    assert find_shown(GRIP, EVENTS) == [EVENTS[0]]
    assert find_shown(LATE, EVENTS) == []
    drawn = draw_causes(
        (LATE, GRIP), None, kind="match", forecast=True, compared=True, due=False, events=EVENTS
    )["cause-list"]  # fmt: skip
    assert drawn.index("less grip") < drawn.index("late start")
    assert drawn.count("In the clip:") == 1
    assert 'data-time="2.96"' in drawn
    assert "heron: wheels slip at 2.96 s" in drawn


def test_pictures_of_the_likeliest_cause_are_cut_about_its_moment() -> None:
    analysis = invent_analysis("flat-match")
    asked: list[float] = []

    def read(from_s: float, until_s: float) -> Iterator[Frame]:
        asked.append((from_s + until_s) / 2)
        return read_frames(analysis.clip, from_s, until_s)

    stills = cut_cause(analysis.grounds, analysis.clip, (LATE, GRIP), read)
    wanted = analysis.clock.start_clip_s + 2.9 + np.array([-0.25, 0.5])
    np.testing.assert_allclose([still.clip_s for still in stills], wanted, atol=0.009)
    assert [still.title for still in stills] == ["0.25 s before", "0.5 s after"]
    assert all(10_000 < len(still.jpeg) < 150_000 for still in stills)
    known = (analysis.grounds, analysis.clip)
    assert cut_cause(*known, (), read) == cut_cause(*known, (LATE,), read) == []
    gone = dataclasses.replace(GRIP, since_s=99.0)
    assert cut_cause(*known, (gone,), read) == []
    assert len(asked) == 2
    drawn = draw_causes((GRIP,), None, kind="match", forecast=True, compared=True, due=False, stills=stills)
    assert drawn["cause-list"].count("data:image/jpeg") == 2


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (
            "Two things together: heron had lost 49 % of its drive; and heron had 22 % less grip, over 99 %; what was "
            "measured lies 18.3 % of each quantity's size (rms) off it.",
            "Two things together: heron had lost 49 % of its drive; and heron had 22 % less grip, over 99 %.",
        ),
        ("It went as predicted, 78 %; what was measured lies 1.6 % off it.", "It went as predicted, 78 %."),
        (
            "Something that was not predicted was at work, 97 %: of 4 quantities the largest disagreement is in pull.",
            "Something that was not predicted was at work, 97 %.",
        ),
        ("heron's wheels found less grip", "Heron's wheels found less grip (90 %)."),
    ],
)
def test_the_likeliest_cause_is_said_whole_in_one_sentence(statement: str, said: str) -> None:
    row = dataclasses.replace(GRIP, statement=statement)
    assert cause_words((LATE, row), kind="match", forecast=True, compared=True) == said


def test_two_causes_together_show_the_events_of_both() -> None:
    pair = dataclasses.replace(GRIP, cause="drive-loss+less-grip")
    lost = Event("drive-loss", "heron", 1.0, NAN, 0.1, 0.9, "weak")
    assert find_shown(pair, (lost, *EVENTS)) == [lost, EVENTS[0]]
