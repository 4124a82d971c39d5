"""The class's book: everything that its tables and pages hold, from the list of runs and their results."""

from collections.abc import Sequence

from matchvision.records.classbook import ClassBook, HandedIn
from matchvision.records.rubric import Rubric
from matchvision.records.season import Season
from matchvision.season.calibration import find_chances, find_coverage, find_pairs, find_spreads
from matchvision.season.draw import draw_rounds
from matchvision.season.manifest import list_teams
from matchvision.season.marks import find_marks
from matchvision.season.outcomes import (
    describe_line,
    find_doubts,
    find_reliability,
    find_standings,
    find_upsets,
)
from matchvision.season.running import Played


def fill_book(season: Season, played: Sequence[Played], rubric: Rubric, handed_in: Sequence[HandedIn]) -> ClassBook:
    """Everything about a class; the same results give the same book, whenever and by whom they were found.

    Notes
    -----
    Checked by: tests/season/test_book.py::test_three_hundred_results_make_one_page
    """
    teams = list_teams(season)
    lines = tuple(describe_line(season, one) for one in played)
    counting = [line.counts for line in lines]
    counted = [one for one, counts in zip(played, counting, strict=True) if counts]
    pairs = find_pairs(played, counting)
    in_draw = season.sheet.draw.teams or teams
    return ClassBook(
        name=season.name,
        teams=teams,
        lines=lines,
        doubts=find_doubts(lines, played),
        pairs=pairs,
        coverage=find_coverage(pairs),
        chances=find_chances(counted),
        spreads=find_spreads(teams, pairs, counted),
        upsets=find_upsets(lines),
        reliability=find_reliability(teams, played, season.sheet.good.spoiled_by),
        standings=find_standings(teams, lines),
        rounds=draw_rounds(season.sheet.draw, in_draw, lines),
        marks=find_marks(season, played, counting, rubric),
        handed_in=tuple(handed_in),
    )
