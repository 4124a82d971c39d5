"""Which rows of a comparison one team answers for."""

from matchvision.marking.parts import mark_accuracy, mark_honesty
from matchvision.marking.rows import OWN_PLACE, ROPE_PLACE, SAID_TWICE, computed_rows
from matchvision.records.rubric import Rubric
from matchvision.verdict.comparing import compare_run
from tests.made_motion import make_machine, make_motion, make_rope, make_run
from tests.marking.made_result import make_result, row
from tests.verdict.test_comparing import CLOCK, T_S, foresee

DISTANCE = row("distance towards home, heron", "m", (0.42, 0.02), (0.32, 0.001))
ROPE = row("rope on the +x side at the end", "m", (0.18, 0.02), (0.28, 0.001))
PULL = row("peak pull", "N", (19.0, 0.8), (18.0, 0.2))


def quantities(*rows: dict[str, object]) -> list[str]:
    return [one.quantity for one in computed_rows(make_result(rows=rows), "heron")]


def test_of_one_place_one_row_counts() -> None:
    assert quantities(ROPE, DISTANCE, PULL) == ["distance towards home, heron", "peak pull"]
    others = row("distance towards home, plover", "m", (-0.42, 0.02), (-0.32, 0.001))
    assert quantities(others, ROPE, PULL) == ["rope on the +x side at the end", "peak pull"]
    unknown = {**DISTANCE, "measured": None}
    assert quantities(unknown, ROPE) == ["rope on the +x side at the end"]
    contest = {**DISTANCE, "phase": "contest"}
    assert quantities(contest, ROPE) == ["rope on the +x side at the end"]


def test_one_error_of_place_is_held_against_a_team_once() -> None:
    """A rope's row beside the machine's changes neither accuracy nor honesty."""
    alone, beside = (make_result(rows=rows) for rows in ((DISTANCE, PULL), (DISTANCE, ROPE, PULL)))
    for mark in (mark_accuracy, mark_honesty):
        points = mark(alone, "heron", Rubric()).points
        assert mark(beside, "heron", Rubric()).points == points < mark(alone, "heron", Rubric()).of
    assert "of 2 lie within" in mark_honesty(beside, "heron", Rubric()).arithmetic


def test_rows_of_one_place_are_those_that_the_comparison_takes_for_one() -> None:
    moved = make_machine("plover", len(T_S), x_m=0.1 * T_S, speed_m_s=0.1)
    rope = make_rope(len(T_S), on_plus_x_m=0.5 + 0.1 * T_S, on_minus_x_m=0.5 - 0.1 * T_S)
    motion = make_motion(T_S, machines=[moved], rope=rope)
    rows = compare_run(make_run(), motion, None, None, CLOCK, foresee(), None)
    placed = (OWN_PLACE, ROPE_PLACE, *SAID_TWICE)
    for one in rows:
        assert (one.group == "place") == one.row.quantity.startswith(placed), one.row.quantity
    assert [sum(one.row.quantity.startswith(start) for one in rows) for start in placed] == [1, 1, 1]
