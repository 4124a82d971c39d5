"""The page of a class, and one page a team to hand out."""

from collections.abc import Mapping, Sequence

from matchvision.records.classbook import ClassBook, Pair
from matchvision.report import classwords, repeatswords
from matchvision.report.classpictures import draw_coverage, draw_pairs
from matchvision.report.readings import COVERAGE
from matchvision.report.templating import fill_template


def render_class(book: ClassBook) -> str:
    """The class's page: what needs a human eye first, then results, draw, forecasts, upsets, reliability and marks.

    Notes
    -----
    Checked by: tests/report/test_classpage.py::test_page_says_what_the_book_holds
    """
    by_quantity = _by_quantity(book.pairs)
    return fill_template(
        "class.html",
        book=book,
        pictures=[(name, draw_pairs(pairs)) for name, pairs in by_quantity.items()],
        coverage=draw_coverage(book.coverage, book.chances),
        totals=mark_totals(book),
        states=classwords.list_states(book),
        against=classwords.won_against(book),
        folders={line.id: line.folder for line in book.lines},
        words=classwords,
    )


def render_team(book: ClassBook, team: str) -> str:
    """One team's page: its runs, its forecast against what was measured, its marks with their arithmetic."""
    pairs = [pair for pair in book.pairs if pair.team == team]
    return fill_template(
        "team.html",
        book=book,
        team=team,
        lines=[line for line in book.lines if team in line.teams],
        pairs=[(pair, *pair_words(pair)) for pair in pairs],
        marks=[mark for mark in book.marks if mark.team == team],
        total=mark_totals(book).get(team),
        reliability=next((one for one in book.reliability if one.team == team), None),
        spread=next((one for one in book.spreads if one.team == team), None),
        words=classwords,
    )


def pair_words(pair: Pair) -> tuple[str, str, str]:
    """Predicted, measured, and what that means."""
    predicted = repeatswords.told(pair.predicted, COVERAGE * pair.u_predicted, pair.unit)
    measured = repeatswords.told(pair.measured, COVERAGE * pair.u_measured, pair.unit)
    if pair.zeta != pair.zeta:  # NaN: no uncertainty was stated
        return predicted, measured, "no uncertainty stated"
    return predicted, measured, "inside" if abs(pair.zeta) <= COVERAGE else f"{abs(pair.zeta):.1f} u off"


def mark_totals(book: ClassBook) -> Mapping[str, tuple[float, float]]:
    """Points and points to be had of each team over all runs that could be judged."""
    totals: dict[str, tuple[float, float]] = {}
    for mark in book.marks:
        if mark.points == mark.points:  # NaN could not be judged
            points, of = totals.get(mark.team, (0.0, 0.0))
            totals[mark.team] = (points + mark.points, of + mark.of)
    return totals


def _by_quantity(pairs: Sequence[Pair]) -> dict[str, list[Pair]]:
    groups: dict[str, list[Pair]] = {}
    for pair in pairs:
        groups.setdefault(pair.quantity, []).append(pair)
    return dict(sorted(groups.items(), key=lambda item: -len(item[1])))
