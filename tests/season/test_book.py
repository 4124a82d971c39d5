"""The whole book of a large class."""

from pathlib import Path

from matchvision.records.rubric import Rubric
from matchvision.season.book import fill_book
from matchvision.season.tables import write_book
from tests.season.made import invented_played, tables_of

MOST_BYTES = 10_000_000


def test_three_hundred_results_make_one_page(tmp_path: Path) -> None:
    season, played = invented_played(tmp_path / "s", tmp_path / "out", 300)
    page = write_book(fill_book(season, played, Rubric(), ()), tmp_path / "out")
    assert page.stat().st_size <= MOST_BYTES
    text = page.read_text(encoding="utf-8")
    assert text.count('class="pair') == 300 * 6
    first = tables_of(tmp_path / "out")
    write_book(fill_book(season, played, Rubric(), ()), tmp_path / "out")
    assert tables_of(tmp_path / "out") == first
