"""The class's page and the teams'."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from markupsafe import escape

from matchvision.records.classbook import ClassBook, HandedIn
from matchvision.records.rubric import Rubric
from matchvision.report.classpage import render_class, render_team
from matchvision.report.classpictures import draw_pairs
from matchvision.report.classwords import won_against
from matchvision.season.book import fill_book
from tests.season.made import invented_played


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> ClassBook:
    folder = tmp_path_factory.mktemp("season")
    season, played = invented_played(folder / "s", folder / "out", 8)
    handed = (HandedIn("heron", "late", "2031-05-02T18:00:01+00:00", "heron-1.toml", "ab" * 32),)
    return fill_book(season, played, Rubric(), handed)


def test_every_pair_is_a_point_in_the_picture(book: ClassBook) -> None:
    pairs = [pair for pair in book.pairs if pair.quantity == "distance towards home"]
    picture = draw_pairs(pairs)
    places = [(float(x), float(y)) for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', picture)]
    assert len(places) == len(pairs)
    # Across grows with what was predicted, up with what was measured.
    by_predicted = [x for _, (x, _) in sorted(zip([p.predicted for p in pairs], places, strict=True))]
    by_measured = [y for _, (_, y) in sorted(zip([p.measured for p in pairs], places, strict=True))]
    assert by_predicted == sorted(by_predicted)
    assert by_measured == sorted(by_measured, reverse=True)
    off = sum(abs(pair.zeta) > 1.96 for pair in pairs)
    assert picture.count("pair off") == off


def test_page_says_what_the_book_holds(book: ClassBook) -> None:
    page = render_class(book)
    places = [page.index(f'id="{name}"') for name in ("eye", "results", "forecasts", "upsets", "reliability", "marks")]
    assert places == sorted(places)
    for line in book.lines:
        assert f'href="{line.folder}/report.html"' in page
    for upset in book.upsets:
        assert f"{upset.winner} beat {upset.loser}" in page
    assert "late" in page[page.index('id="handed-in"') :]
    assert not re.search(r"https?://", page)


def test_who_won_against_whom_adds_up_to_the_standings(book: ClassBook) -> None:
    against = won_against(book)
    assert list(against) == [one.team for one in book.standings]
    for k, one in enumerate(book.standings):
        row = against[one.team]
        assert sum(won for won, _ in row) == one.won
        assert sum(of - won for won, of in row) == one.lost
        assert row[k] == (0, 0)
    assert won_against(replace(book, standings=book.standings[:2])) == {}


def test_long_lists_are_folded_and_whole(book: ClassBook) -> None:
    many = replace(book, lines=tuple(replace(book.lines[0], id=f"n{k}", sure=k > 1) for k in range(20)))
    page = render_class(many)
    assert "All 20 runs: 18 decided, 2 not surely" in page
    assert '<details id="all-runs"><summary>' in page
    assert all(f">n{k}</a>" in page for k in range(20))
    assert '<details id="all-runs" open>' in render_class(book)
    upsets = tuple(replace(book.upsets[0], id=f"u{k}") for k in range(11))
    page = render_class(replace(book, upsets=upsets))
    assert "<summary>3 more</summary>" in page
    assert page.count(f"{upsets[0].winner} beat") == 11


def test_names_cannot_break_the_page(book: ClassBook) -> None:
    line = replace(book.lines[0], id="<script>alert(1)</script>", message="</td>", remarks=("<b>",))
    page = render_class(replace(book, lines=(line, *book.lines[1:])))
    assert "<script>alert" not in page
    assert "<b></span>" not in page


def test_a_team_sees_its_own_runs_and_marks(book: ClassBook) -> None:
    team = book.lines[0].teams[0]
    page = render_team(book, team)
    own = [mark for mark in book.marks if mark.team == team]
    assert own
    assert all(str(escape(mark.arithmetic)) in page for mark in own)
    others = {line.id for line in book.lines if team not in line.teams}
    assert not any(f"<td>{other}</td>" in page for other in others)


def test_an_empty_class_has_a_page(tmp_path: Path) -> None:
    del tmp_path
    empty = ClassBook("new", (), (), (), (), (), (), (), (), (), (), (), (), ())
    assert "No run needs a second look" in render_class(empty)
