"""Who meets whom."""

import hashlib
from itertools import combinations
from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.records.classbook import RunLine
from matchvision.records.season import DrawRules
from matchvision.season.draw import draw_order, draw_rounds
from matchvision.season.drawing import add_pairings
from matchvision.season.manifest import read_season
from tests.season.made import TEAMS, hold, lay_out

NAN = float("nan")


def played(round_: str, minus: str, plus: str, winner: str, *, counts: bool = True) -> RunLine:
    return RunLine(
        f"{round_}-{minus}-{plus}", round_, "", (minus, plus), "match", "done", winner, winner, True, 0.1, 0.01, 0.5,
        "", NAN, "", "", counts, (), "", "",
    )  # fmt: skip


def test_the_seed_alone_decides() -> None:
    assert draw_order(TEAMS, 3) == draw_order(TEAMS[::-1], 3)
    assert len({tuple(draw_order(TEAMS, seed)) for seed in range(20)}) > 15
    first = draw_order(TEAMS, 3)[0]
    assert all(_digest(f"3/{first}") <= _digest(f"3/{team}") for team in TEAMS)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize("count", [2, 5, 6])
def test_everybody_meets_everybody_once(count: int) -> None:
    teams = TEAMS[:count]
    rounds = draw_rounds(DrawRules(seed=1), teams, [])
    pairs = [frozenset((p.minus, p.plus)) for one in rounds for p in one.pairings]
    assert sorted(map(sorted, pairs)) == sorted(map(sorted, combinations(teams, 2)))
    for one in rounds:
        at_table = [team for p in one.pairings for team in (p.minus, p.plus)]
        assert len(at_table) == len(set(at_table))


def test_a_knock_out_goes_on_with_the_winners() -> None:
    rules = DrawRules(kind="knock-out", seed=2)
    lines: list[RunLine] = []
    for _ in range(4):
        rounds = draw_rounds(rules, TEAMS, lines)
        lines += [
            played(rounds[-1].name, tie.minus, tie.plus, max(tie.minus, tie.plus))
            for tie in rounds[-1].pairings
            if tie.plus and not tie.winner
        ]
    rounds = draw_rounds(rules, TEAMS, lines)
    assert [len(one.pairings) for one in rounds] == [4, 2, 1]
    assert sum(not tie.plus for tie in rounds[0].pairings) == 2
    assert rounds[-1].pairings[0].winner == max(rounds[-1].pairings[0].minus, rounds[-1].pairings[0].plus)


def test_a_run_that_does_not_count_decides_nothing() -> None:
    rules = DrawRules(kind="knock-out", seed=2)
    tie = next(t for t in draw_rounds(rules, TEAMS[:2], [])[0].pairings if t.plus)
    void = played("1", tie.minus, tie.plus, tie.minus, counts=False)
    again = played("1", tie.minus, tie.plus, tie.plus)
    assert draw_rounds(rules, TEAMS[:2], [void])[0].pairings[0].winner == ""
    assert draw_rounds(rules, TEAMS[:2], [again, void])[0].pairings[0].winner == tie.plus


def test_pairings_are_added_once(tmp_path: Path) -> None:
    folder = lay_out(
        tmp_path / "s", 1, season="[draw]\nseed = 5\nkind = 'all-play-all'\nteams = ['heron', 'plover', 'snipe']\n"
    )
    first = add_pairings(read_season(folder), tmp_path / "out")
    assert len(first) == 3
    season = read_season(folder)
    assert len(season.entries) == 4
    assert add_pairings(season, tmp_path / "out") == ()
    held = hold(folder, tmp_path / "out")
    assert held.book is not None
    assert [line.status for line in held.book.lines] == ["done", "listed", "listed", "listed"]


def test_a_draw_needs_a_seed(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="no seed"):
        add_pairings(read_season(lay_out(tmp_path / "s", 1)), tmp_path / "out")
