"""The invented season, filmed and held."""

import json
from pathlib import Path

import pytest

from matchvision.errors import OutputError
from matchvision.filming.season import MATCHES, SEED, film_season
from matchvision.records.season import DrawRules
from matchvision.season.draw import draw_rounds
from matchvision.season.holding import Telling, hold_season
from matchvision.season.manifest import read_season
from matchvision.season.workers import work_locally
from matchvision.writing import read_brief


def test_the_matches_are_those_that_the_seed_draws() -> None:
    teams = sorted({team for _, *pair in MATCHES for team in pair})
    drawn = [(one.name, p.minus, p.plus) for one in draw_rounds(DrawRules(seed=SEED), teams, []) for p in one.pairings]
    assert drawn == list(MATCHES)


@pytest.mark.slow
def test_the_demo_season_is_right_about_who_won(tmp_path: Path) -> None:
    folder = tmp_path / "evening"
    film_season(folder, matches=1)
    first: list[str] = []
    held = hold_season(
        read_season(folder),
        tmp_path / "out",
        lambda tasks, done: work_locally(tasks, 1, done),
        telling=Telling(first=lambda page, book: first.append(book.lines[1].status)),
    )
    assert held.book is not None
    assert dict(held.done) == {"answer": 2, "causes": 1, "remedies": 1}
    sought = read_brief(tmp_path / "out" / held.book.lines[1].folder)
    assert [note.status for note in sought.notes if note.stage == "remedies"] != []
    assert not list((tmp_path / "out" / "runs").glob("*.later"))
    spoiled, whole = held.book.lines
    truth = json.loads((folder / "truth" / f"{whole.id}.json").read_text())["verdict"]
    assert first == ["answered"]
    assert (spoiled.status, spoiled.counts, whole.status) == ("failed", False, "done")
    assert whole.winner == truth["winner"]
    assert whole.margin_m == pytest.approx(truth["margin_mm"] / 1000, abs=4 * whole.u_margin_m)
    assert 0 < whole.chance < 1
    assert whole.cause
    assert any(pair.quantity == "distance towards home" for pair in held.book.pairs)


def test_a_folder_with_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(OutputError, match="holds other things"):
        film_season(tmp_path)
