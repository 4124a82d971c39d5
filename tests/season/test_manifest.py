"""A season as it is written down."""

from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.season.manifest import list_teams, read_season
from tests.season.made import hold, lay_out


def test_every_fault_is_told_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text("[season]\nname = 'x'\n[draw]\nseed = 1\nkind = 'all-play-all'\n[good]\n")
    (tmp_path / "runs.csv").write_text(
        "id,round,minus_x,plus_x,run,clip,start_s,replays,reason\n"
        "a,1,heron,plover,r1,,,,\n"
        "a,1,heron,heron,r1,c.mp4,x,,\n"
        "b,1,,,r2,,,c,\n"
        "d,1,../up,plover,r3,,,,\n"
    )
    (tmp_path / "overrides.csv").write_text("id,what,team,value,reason\na,winner,,snipe,\nz,winner,,heron,because\n")
    with pytest.raises(SheetError) as caught:
        read_season(tmp_path)
    said = caught.value.message()
    for words in (
        'line 3: the id "a" stands on line 2 already',
        "line 3: heron meets itself",
        "line 3: it names a run and a clip",
        'line 3, start_s: found "x"',
        "line 4: no team is named",
        'line 5: found the team "../up"',
        'line 4, replays: there is no run "c"',
        "line 4, replays: it has no reason",
        'line 2: "snipe" does not take part in it',
        "line 2: it has no reason; an override without a reason does not count",
        'line 3: there is no run "z"',
    ):
        assert words in said, words


def test_a_misspelled_key_and_column_are_named(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text("[draw]\nsead = 1\n")
    with pytest.raises(SheetError, match=r'line 2, draw\.sead: there is no such key; did you mean "seed"'):
        read_season(tmp_path)
    (tmp_path / "season.toml").unlink()
    (tmp_path / "runs.csv").write_text("round;minus_x;plus_x;clipp\n1;heron;plover;c.mp4\n")
    with pytest.raises(SheetError, match='no column "clipp"; did you mean "clip"'):
        read_season(tmp_path)


def test_semicolons_and_missing_sheets_will_do(tmp_path: Path) -> None:
    (tmp_path / "runs.csv").write_text(
        "\ufeffround;minus_x;plus_x;clip;start_s\n1;heron;plover;c.mp4;0,8\n", encoding="utf-8"
    )
    season = read_season(tmp_path)
    assert season.entries[0].start_s == 0.8
    assert season.entries[0].id == "1-heron-plover"
    assert list_teams(season) == ("heron", "plover")


def test_replays_and_overrides_stay_on_the_page_with_their_reasons(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 2)
    runs = folder / "runs.csv"
    text = runs.read_text().replace("plus_x,run", "plus_x,run,replays,reason")
    text += "r0-again,1,A,curlew,dunlin,r1,r0,a hand was over the table\n"
    runs.write_text(text)
    held = hold(folder, tmp_path / "out")
    assert held.book is not None
    again = held.book.lines[2]
    other = next(team for team in again.teams if team != again.measured_winner)
    (folder / "overrides.csv").write_text(
        f"id,what,team,value,reason,by\nr0-again,winner,,{other},started early,the judge\n"
    )
    held = hold(folder, tmp_path / "out")
    assert held.book is not None
    first, _, again = held.book.lines
    assert not first.counts
    assert again.winner == other
    page = (tmp_path / "out" / "season.html").read_text()
    for reason in ("a hand was over the table", f"winner set to {other} by the judge: started early"):
        assert reason in page
    assert sum(one.won for one in held.book.standings) == 2
