"""A rope that was seen to come off: told as such, whatever the operators did after it."""

import math
from dataclasses import replace

import pytest

from matchvision.pipeline import start_poses
from matchvision.records.events import Event, Grip
from matchvision.records.results import CauseRow
from matchvision.verdict.causes.reasoning import let_go, reason
from tests.verdict.causes.changed_runs import changed_run, measured_points

NOTHING = (math.nan, math.nan, "", math.nan)


def came_off(at_s: float, probability: float = 1.0) -> Event:
    return Event("rope-off", "heron", at_s, math.nan, 0.01, probability, "the last bead ran away.")


def test_a_rope_that_may_have_stayed_on_is_told_with_the_chance_that_is_left() -> None:
    slip = CauseRow("less-grip", "A", 1.0, 0.4, 0.1, "1", 1.0, "A had less grip, over 99 %.")
    both, alone = let_go((slip,), came_off(1.84, 0.9))
    assert (both.probability, alone.probability) == pytest.approx((0.9, 0.1))
    assert both.statement.endswith("(95 %), 90 %, and until then A had less grip, over 99 %.")
    assert alone.statement.startswith("The rope did not come off, 10 %: A had less grip")
    predicted = CauseRow("as-predicted", "", 1.0, *NOTHING, "It went as predicted.")
    unseen = replace(came_off(1.84), evidence="")
    assert "Seen" not in let_go((predicted,), unseen)[0].statement


def test_what_explains_the_run_until_then_is_told_beside_it() -> None:
    rows = (
        CauseRow("as-predicted", "", 0.7, *NOTHING, "It went as predicted."),
        CauseRow("less-grip", "plover", 0.2, 0.4, 0.1, "1", 1.0, "Plover had less grip."),
        CauseRow("unexplained", "", 0.1, *NOTHING, "Something else was at work."),
    )
    told = {(row.cause, row.machine): row for row in let_go(rows, came_off(1.84))}
    assert sum(row.probability for row in told.values()) == pytest.approx(1.0, abs=0.01)
    assert told["unexplained", ""].statement.startswith("The rope left the hitch of heron at")
    first = told["hitch-released", "heron"]
    assert first.probability == pytest.approx(0.693)
    assert first.since_s == 1.84
    assert "the last bead ran away" in first.statement
    assert told["hitch-released+less-grip", "heron, plover"].probability == pytest.approx(0.198)
    assert "under 1 %" in told["as-predicted", ""].statement


def test_doubtful_sight_leaves_the_chance_that_nothing_came_off() -> None:
    rows = (CauseRow("as-predicted", "", 1.0, *NOTHING, "It went as predicted."),)
    first, other = let_go(rows, came_off(1.84, 0.6))
    assert [first.cause, other.cause] == ["hitch-released", "as-predicted"]
    assert [first.probability, other.probability] == pytest.approx([0.6, 0.4])


@pytest.mark.slow
def test_engine_run_whose_hitch_let_go_is_told_so() -> None:
    changed = changed_run("hitch-released", 3)
    run, motion, pull, clock = measured_points(changed, 3)
    seen = Grip((came_off(changed.size),))
    causes = reason(run, motion, pull, seen, clock, start_poses(run, motion, clock))
    assert causes[0].cause == "hitch-released"
    assert causes[0].probability > 0.5
    assert causes[0].estimate == changed.size
