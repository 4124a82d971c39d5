"""From a line of the list to a run."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.filming.papers import shared_sheet, team_sheet
from matchvision.filming.season import season_scenes
from matchvision.season.assembling import assemble_entry
from matchvision.season.keys import key_of
from matchvision.season.manifest import read_season
from matchvision.season.receiving import read_received, receive
from tests.season.made import lay_out


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The invented season before anything is filmed."""
    scenes = season_scenes()
    (tmp_path / "teams").mkdir()
    (tmp_path / "table.toml").write_text(shared_sheet(scenes))
    for name, machine in {n: m for scene in scenes for n, m in scene.machine.items()}.items():
        (tmp_path / "teams" / f"{name}.toml").write_text(team_sheet(name, machine))
    (tmp_path / "season.toml").write_text('[season]\nshared = "table.toml"\n')
    (tmp_path / "runs.csv").write_text(
        "id,round,minus_x,plus_x,clip,start_s\na,1,heron,plover,c.mp4,0.8\nb,1,plover,heron,c.mp4,0.9\nc,1,heron,emu,c.mp4,1\n"
    )
    return tmp_path


def test_opponents_drawn_later_are_joined_from_their_own_sheets(folder: Path) -> None:
    season = read_season(folder)
    first, second = (assemble_entry(season, entry, {})[0] for entry in season.entries[:2])
    assert first.sheet.machine["heron"].home == second.sheet.machine["plover"].home == "-x"
    assert first.sheet.clock.start_s == 0.8
    assert first.sheet.run.name == "a"
    assert first.clip == (folder / "c.mp4").absolute()
    assert set(first.sheet.forecast) == {"heron", "plover"}


def test_what_was_handed_in_takes_the_place_of_any_other_forecast(folder: Path, tmp_path: Path) -> None:
    source = tmp_path / "all.csv"
    source.write_text("team,gear_ratio,win_chance\nheron,99,0.6\n")
    receive(read_season(folder), source, datetime(2031, 1, 1, tzinfo=UTC))
    season = read_season(folder)
    run = assemble_entry(season, season.entries[0], read_received(season)[0])[0]
    heron, plover = run.sheet.forecast["heron"], run.sheet.forecast["plover"]
    assert heron.gear_ratio is not None
    assert (heron.gear_ratio.value, heron.win_chance, heron.motors) == (99, 0.6, None)
    assert plover.motors == 2


def test_a_lacking_sheet_is_named(folder: Path) -> None:
    season = read_season(folder)
    with pytest.raises(SheetError, match="the own sheet of emu is wanted"):
        assemble_entry(season, season.entries[2], {})


def test_mends_by_hand_beside_a_runs_sheet_count(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 1)
    season = read_season(folder)
    plain, files = assemble_entry(season, season.entries[0], {})
    assert not plain.mends.sets_points
    (folder / "r0" / "mends.toml").write_text(
        '[[mend]]\ndo = "end"\nend = "curlew"\nframe = 3\npixel = [400.0, 300.0]\n'
    )
    mended, _ = assemble_entry(season, season.entries[0], {})
    assert mended.mends.sets_points
    assert key_of(mended, "a" * 64) != key_of(plain, "a" * 64)
    assert {folder / "r0" / name for name in ("run.toml", "clip.mp4", "mends.toml")} <= set(files)
