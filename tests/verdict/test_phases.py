"""Phases of a run, from its events."""

import math
from itertools import pairwise

from matchvision.records.events import Event, EventKind, Grip
from matchvision.records.motion import MatchClock
from matchvision.records.results import Phase
from matchvision.verdict.phases import find_phases
from tests.made_motion import make_machine, make_motion, make_rope, seconds

T_S = seconds(8.5)
CLOCK = MatchClock(0.0, 8.0)
NAN = math.nan


def phases(*events: tuple[EventKind, str, float, float], taut_s: float = 0.0) -> dict[str, Phase]:
    slack = (taut_s > T_S).astype(float)
    motion = make_motion(T_S, machines=[make_machine("heron", len(T_S))], rope=make_rope(len(T_S), slack=slack))
    grip = Grip(tuple(Event(kind, name, begin, end, 0.02, 1.0, "") for kind, name, begin, end in events))
    found = find_phases(motion, grip, CLOCK)
    assert all(a.until_s == b.from_s for a, b in pairwise(found))
    return {phase.phase: phase for phase in found}


def test_a_whole_match_has_four_phases() -> None:
    found = phases(
        ("first-motion", "heron", 0.1, NAN), ("reach-out", "heron", 0.1, 0.9), ("slip", "plover", 3.0, 4.0),
        ("dragged", "plover", 4.0, 6.0), ("held", "plover", 6.5, 8.0), ("stall", "heron", 6.6, NAN), taut_s=1.2,
    )  # fmt: skip
    assert list(found) == ["reach", "first-pull", "contest", "hold"]
    assert abs(found["first-pull"].from_s - 1.2) < 0.02
    assert (found["contest"].from_s, found["hold"].from_s, found["hold"].until_s) == (3.0, 6.6, 8.0)
    assert "slip of plover" in found["first-pull"].evidence
    assert "the rope was taut" in found["reach"].evidence


def test_nothing_gave() -> None:
    assert list(phases()) == ["first-pull"]
    late = phases(("first-motion", "heron", 0.8, NAN))
    assert list(late) == ["reach", "first-pull"]
    assert late["reach"].until_s == 0.8


def test_a_standstill_that_ends_is_no_hold() -> None:
    found = phases(("slip", "plover", 2.0, 3.0), ("held", "plover", 5.0, 6.0))
    assert list(found) == ["first-pull", "contest"]


def test_a_standstill_from_the_limit_on_leaves_no_contest() -> None:
    assert list(phases(("stall", "heron", 2.0, NAN))) == ["first-pull", "hold"]


def test_a_rope_that_came_off_ends_it() -> None:
    found = phases(("slip", "plover", 2.0, 3.0), ("rope-off", "heron", 4.0, NAN), ("held", "plover", 5.0, NAN))
    assert list(found) == ["first-pull", "contest"]
    assert found["contest"].until_s == 4.0
    assert "the rope came off" in found["contest"].evidence


def test_short_stretches_join_their_neighbours() -> None:
    found = phases(("first-motion", "heron", 0.1, NAN), ("slip", "plover", 2.0, 3.0))
    assert found["first-pull"].from_s == 0.0
    assert found["first-pull"].evidence.startswith("from the start")
    assert list(phases(("slip", "plover", 0.15, 3.0))) == ["contest"]
