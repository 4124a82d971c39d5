"""Marks of one run: every one follows from its own arithmetic."""

import math
import re
from importlib.resources import files
from pathlib import Path

import pytest

from matchvision.marking import mark_run
from matchvision.records.marks import Mark
from matchvision.records.rubric import Rubric, Weights
from matchvision.sheets.rubric import read_rubric
from tests.marking.made_result import HERON, ROWS, make_result, row

EXAMPLE = Path(str(files("matchvision.sheets") / "templates" / "rubric.toml"))


def marks_by_part(**told: object) -> dict[str, Mark]:
    marks = mark_run(make_result(**told), read_rubric(EXAMPLE))  # type: ignore[arg-type]
    return {mark.part: mark for mark in marks.of_machine("heron")}


def test_example_is_the_default() -> None:
    assert read_rubric(EXAMPLE) == Rubric()


def test_every_mark_follows_from_its_own_arithmetic() -> None:
    marks = marks_by_part()
    assert marks["win_chance"].points == pytest.approx(20 * (1 - 0.2**2), abs=1e-6)
    # 2.0 N off, 0.4 N of it the measurement's: 1.6 N of 18 N; (0.5 − 0.0889)/0.4 is above 1.
    assert marks["peak_pull"].points == pytest.approx(20.0)
    # Distance: 20 − 2 mm of 320 mm; pull: 1.0 − 0.4 N of 18 N: both within a tenth.
    assert marks["accuracy"].points == pytest.approx(25.0)
    assert marks["verdict"].points == pytest.approx(5.0, abs=1e-6)
    assert marks["cause"].points == pytest.approx(7.0)
    for mark in marks.values():
        ends_with = re.search(r"= ([\d.]+)\.$", mark.arithmetic)
        assert ends_with, mark.arithmetic
        assert float(ends_with[1]) == pytest.approx(mark.points, abs=0.051)


def test_a_full_mark_is_what_it_is_by_hand() -> None:
    """Every part between nothing and all of its points, each reckoned on paper, and every sum as it is shown.

    Chance: 0.8 stated, won by 0.9: Brier 0.9 · 0.2² + 0.1 · 0.8² = 0.1, so 20 · 0.9 = 18.
    Peak pull: 24 against 18.0 ± 0.2: beyond U = 0.4 it is 5.6/18 = 0.3111; (0.5 − 0.3111)/0.4 = 0.4722, so 9.444.
    Accuracy: distance 0.40 against 0.320 ± 0.001: 0.078/0.32 = 0.24375, 0.640625; speed 0.13 against 0.100 ± 0.003:
    0.024/0.10, 0.65; pull 0.6/18 is below a tenth, 1. Mean 2.290625/3 = 0.763542, so 19.0885.
    Honesty, (E/u_val)²: 0.08²/(0.02² + 0.001²) = 15.9601, 0.03²/(0.004² + 0.003²) = 36, 6²/(1.5² + 0.2²) = 15.7205:
    rms √(67.6806/3) = 4.7498. Tables of χ² with 3 degrees: 9.348 at 0.975, √(9.348/3) = 1.7652, a factor 2.6907;
    1 − ln 2.6907/ln 4 = 0.2860, so 5.720. Winner: 0.9 · 5 = 4.5. Cause: 0.3 alone and 0.4 of a pair, so 7.
    """
    rows = (
        row("distance towards home, heron", "m", (0.40, 0.02), (0.32, 0.001)),
        row("mean speed towards home, heron", "m/s", (0.04, 0.002), (0.032, 0.0001)),
        row("rope on the +x side at the end", "m", (0.20, 0.02), (0.28, 0.001)),
        row("peak speed, heron", "m/s", (0.13, 0.004), (0.10, 0.003)),
        row("peak pull", "N", (19.0, 0.8), (18.0, 0.2)),
        row("peak pull, as stated by heron", "N", (24.0, 1.5), (18.0, 0.2)),
    )
    causes = (("late-start+less-grip", "plover, heron", 0.4), ("less-grip", "heron", 0.3), ("as-predicted", "", 0.3))
    stated = {"heron": {**HERON, "peak_pull_N": 24.0, "u_peak_pull_N": 1.5}}
    made = make_result(rows=rows, stated=stated, causes=causes, won={"heron": 0.9, "plover": 0.1})
    marked = mark_run(made, Rubric())
    points = {mark.part: mark.points for mark in marked.of_machine("heron")}
    by_hand = {"win_chance": 18, "peak_pull": 9.4444, "accuracy": 19.0885, "honesty": 5.720, "verdict": 4.5, "cause": 7}
    assert points == pytest.approx(by_hand, abs=0.002)
    assert dict(marked.totals)["heron"] == pytest.approx(63.753, abs=0.003)
    sums = {mark.part: mark.arithmetic for mark in marked.of_machine("heron")}
    assert sums["win_chance"].endswith("20 × (1 − (0.90 × 0.20² + 0.10 × 0.80²)) = 18.0.")
    assert sums["peak_pull"].endswith("the error is 31.1 % of its size: 20 × 0.47 = 9.4.")
    assert sums["accuracy"].endswith("25 × mean 0.76 = 19.1.")
    assert "0 of 3 lie within their 95 % interval; rms of E/u_val 4.75" in sums["honesty"]
    assert sums["honesty"].endswith("over-confident, a factor 2.69 outside. 20 × 0.29 = 5.7.")
    assert sums["verdict"].endswith("right with a probability of 0.9: 5 × 0.9 = 4.5.")
    assert sums["cause"].endswith("a probability of 0.70, 0.40 of it as one of two: 10 × 0.70 = 7.0.")


def test_total_is_of_what_could_be_judged() -> None:
    marks = mark_run(make_result(), Rubric(weights=Weights(peak_pull=0, accuracy=0, honesty=0, verdict=0)))
    (name, total), *others = marks.totals
    assert name == "heron"
    assert not others  # nobody forecast anything for plover
    assert total == pytest.approx(100 * (20 * 0.96 + 7) / 30)
    unseen = mark_run(make_result(winner=None, margin_m=None), Rubric(weights=Weights(honesty=0, accuracy=0)))
    assert dict(unseen.totals)["heron"] == pytest.approx(100 * (20 + 7) / 30)


def test_larger_errors_never_earn_more() -> None:
    points = []
    for predicted_N in (18.0, 20.0, 22.0, 24.0, 26.0, 28.0):
        rows = [dict(r) for r in ROWS]
        rows[-1]["predicted"] = predicted_N
        points.append(marks_by_part(rows=rows)["peak_pull"].points)
    assert points == sorted(points, reverse=True)
    assert points[-1] == 0.0


def test_what_was_not_said_earns_nothing() -> None:
    silent = {"heron": dict.fromkeys(HERON)}
    peaks, nothing = (("traction", "heron", 17.0),), ("win_chance", "peak_pull", "accuracy", "verdict", "cause")
    marks = marks_by_part(stated=silent, rows=(), peaks=peaks, forecast=False)
    assert [marks[part].points for part in nothing] == [0.0] * 5
    told = marks_by_part(stated=silent)  # what is computed from the sheets still counts
    assert [told[part].points for part in ("peak_pull", "cause")] == [0.0] * 2
    assert told["win_chance"].points == pytest.approx(20 * (1 - 0.3**2))


def test_what_no_run_could_have_shown_is_held_against_nobody() -> None:
    """A run without a winner, a pull of its own, causes or events judges neither what is stated nor silence."""
    unseen = {"rows": (), "winner": None, "margin_m": None, "causes": (), "peaks": (("speed", "heron", 0.1),)}
    for stated in (HERON, dict.fromkeys(HERON)):
        marks = marks_by_part(stated={"heron": stated}, forecast=False, **unseen)
        for part in ("win_chance", "peak_pull", "verdict", "cause"):
            assert math.isnan(marks[part].points), part
            assert marks[part].arithmetic.startswith("Not judged"), part
        assert "no winner" in marks["win_chance"].arithmetic
    due = marks_by_part(stated={"heron": dict.fromkeys(HERON)}, causes_due=True)["cause"]
    assert math.isnan(due.points)


def test_a_pull_that_another_row_tells_of_could_have_been_stated() -> None:
    """The computed forecast's row, or another team's: measured it was."""
    silent = {"heron": dict.fromkeys(HERON)}
    for quantity in ("peak pull", "peak pull, as stated by plover"):
        mark = marks_by_part(stated=silent, rows=(row(quantity, "N", (19.0, 0.8), (18.0, 0.2)),))["peak_pull"]
        assert mark.points == 0.0
    stated = marks_by_part(rows=(), peaks=(("traction", "heron", 17.0),))["peak_pull"]
    assert math.isnan(stated.points)  # stated, but without a mean over 0.2 s to hold it to


def test_a_failure_that_was_seen_counts_though_it_explains_nothing() -> None:
    causes = (("as-predicted", "", 1.0),)
    assert marks_by_part(causes=causes)["cause"].points == 0.0
    assert marks_by_part(causes=causes, events=(("slip", "heron", 0.9),))["cause"].points == pytest.approx(9.0)
    assert marks_by_part(causes=causes, events=(("slip", "plover", 0.9),))["cause"].points == 0.0


def test_a_slip_that_was_foreseen_earns_what_an_unforeseen_one_does() -> None:
    """A machine that slips as its forecast said: all as predicted, and the slip was named."""
    foreseen = row("first slip, heron", "s", (2.0, 0.1), (2.0, 0.1))
    causes, slip = (("as-predicted", "", 1.0),), (("slip", "heron", 1.0),)
    for rows in (ROWS, (*ROWS, foreseen)):
        mark = marks_by_part(rows=rows, causes=causes, events=slip)["cause"]
        assert mark.points == mark.of == 10.0
        assert "slip was seen at 2.00 s" in mark.arithmetic


def test_one_of_two_causes_earns_its_probability_too() -> None:
    """Of 0.9 that tell of less grip 0.2 mean plover's: causes and machines stand in the same order."""
    causes = (
        ("less-grip", "heron", 0.3),
        ("late-start+less-grip", "plover, heron", 0.4),
        ("less-grip+drive-loss", "plover, heron", 0.2),
        ("as-predicted", "", 0.1),
    )
    mark = marks_by_part(causes=causes)["cause"]
    assert mark.points == pytest.approx(7.0)
    assert "a probability of 0.70, 0.40 of it as one of two: 10 × 0.70 = 7.0." in mark.arithmetic
    assert "one of" not in marks_by_part()["cause"].arithmetic


@pytest.mark.parametrize(
    ("cause", "machine", "named", "share", "shown"),
    [
        ("hitch-released+less-grip", "heron", "less-grip", 0.6, ", as one of two"),
        ("hitch-released+less-grip", "plover, heron", "less-grip", 0.6, ", as one of two"),
        ("hitch-released+less-grip", "heron, plover", "less-grip", 0.0, ""),
        ("hitch-released+less-grip", "heron, plover", "hitch-released", 0.6, ", as one of two"),
        ("less-grip+rope-longer", "heron", "rope-longer", 0.6, ", as one of two"),
        ("less-grip+rope-longer", "plover", "rope-longer", 0.6, ", as one of two"),
        ("less-grip+rope-longer", "plover", "less-grip", 0.0, ""),
        ("less-grip+hitch-released", "plover", "hitch-released", 0.6, ", as one of two"),
        ("hitch-released+late-start+less-grip", "heron, plover, heron", "less-grip", 0.6, ", as one of three"),
        ("hitch-released+late-start+less-grip", "heron, plover, heron", "late-start", 0.0, ""),
        ("hitch-released+late-start+less-grip", "plover, heron", "late-start", 0.6, ", as one of three"),
        ("opponent-stronger+less-grip", "plover, heron", "opponent-stronger", 0.6, ", as one of two"),
        ("rough-stretch", "sled", "rough-stretch", 0.6, ""),
        ("rough-stretch+drive-loss", "sled, heron", "rough-stretch", 0.6, ", as one of two"),
        ("rough-stretch+drive-loss", "sled, heron", "drive-loss", 0.6, ", as one of two"),
        ("slippery-stretch", "sled", "slippery-stretch", 0.0, ""),
        ("wrong-gear", "heron", "gear", 0.0, ""),
    ],
)
def test_a_joined_cause_counts_for_whom_it_tells_of(
    cause: str, machine: str, named: str, share: float, shown: str
) -> None:
    stated = {"heron": {**HERON, "failure_named": named}}
    mark = marks_by_part(stated=stated, causes=((cause, machine, 0.6), ("as-predicted", "", 0.4)))["cause"]
    assert mark.points == pytest.approx(10 * share)
    assert f"a probability of {share:.2f}{shown}: " in mark.arithmetic


def test_a_hitch_that_was_seen_to_let_go_is_its_machines() -> None:
    stated = {name: {**HERON, "failure_named": "hitch-released"} for name in ("heron", "plover")}
    causes = (("hitch-released+less-grip", "plover", 0.6), ("as-predicted", "", 0.4))
    made = make_result(stated=stated, causes=causes, events=(("rope-off", "plover", 0.5),))
    points = {mark.machine: mark.points for mark in mark_run(made, Rubric()).marks if mark.part == "cause"}
    assert points == {"heron": 0.0, "plover": pytest.approx(6.0)}


def test_close_run_is_marked_by_how_sure_the_verdict_is() -> None:
    chance = marks_by_part(won={"heron": 0.5, "plover": 0.5})["win_chance"]
    assert chance.points == pytest.approx(20 * (1 - 0.5 * 0.2**2 - 0.5 * 0.8**2))


def test_where_nobody_has_won_the_better_chance_was_wrong() -> None:
    """Beyond one half to win nobody may: both stated chances are held against not having won."""
    nobody = marks_by_part(winner=None, margin_m=-0.05, won={"heron": 0.0, "plover": 0.0})
    assert nobody["win_chance"].points == pytest.approx(20 * (1 - 0.8**2))
    assert "it has not won" in nobody["win_chance"].arithmetic
    assert nobody["verdict"].points == 0.0
