"""The command for a whole class."""

import json
from pathlib import Path

import pytest

from matchvision.season import holding, keys, running, unchanged
from matchvision.writing.documents import describe_document
from tests.cli.conftest import Type
from tests.season.made import hold, lay_out
from tests.writing.held import find_strays


@pytest.fixture(autouse=True)
def _same_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """The program is the same throughout a test, though somebody may edit it meanwhile."""
    for module in (keys, running):
        monkeypatch.setattr(module, "name_analysis", lambda: "")
    for module in (holding, unchanged):
        monkeypatch.setattr(module, "fingerprint_program", lambda: "")


def test_what_is_finished_is_told_and_not_done_again(type_in: Type, in_folder: Path) -> None:
    folder = lay_out(in_folder / "s", 2)
    hold(folder, in_folder / "outputs" / "s")
    done = type_in("season", "s")
    assert done.exit_code == 0, done.output
    assert "Nothing has changed" in done.output
    (folder / "overrides.csv").write_text("id,what,team,value,reason\nr0,winner,,curlew,a hand touched the rope\n")
    done = type_in("season", "s")
    assert done.exit_code == 0, done.output
    assert "2 runs listed, 2 analysed" in done.output
    (folder / "overrides.csv").write_text("id,what,team,value,reason\nr0,winner,,dunlin,a hand touched the rope\n")
    said = type_in("season", "s", "--json").stdout
    assert said == type_in("season", "s", "--json").stdout  # as changed, and then as nothing has changed
    told = json.loads(said)
    assert find_strays(told, describe_document("season")) == []
    assert told["results"][0]["winner"] == "dunlin"
    for name in ("results", "predicted", "marks", "standings"):
        table = (in_folder / "outputs" / "s" / f"{name}.csv").read_text().splitlines()
        assert len(told[name]) == len(table) - 1 > 0


def test_a_line_that_cannot_be_analysed_shows_in_the_exit_code(type_in: Type, in_folder: Path) -> None:
    folder = lay_out(in_folder / "s", 2)
    (folder / "r1" / "clip.mp4").unlink()
    hold(folder, in_folder / "outputs" / "s")
    (folder / "season.toml").write_text("[season]\nname = 's'\n")
    done = type_in("season", "s")
    assert done.exit_code == 1
    assert "r1 (no answer)" in done.output
    done = type_in("season", "s", "--json")  # nothing has changed meanwhile
    assert done.exit_code == 1
    assert [one["id"] for one in json.loads(done.stdout)["look_first"]] == ["r1"]


def test_a_folder_that_is_no_season_is_not_taken_for_an_empty_one(type_in: Type, in_folder: Path) -> None:
    folder = lay_out(in_folder / "s", 1)
    refused = type_in("season", "s/r0")
    assert refused.exit_code == 2
    assert "it holds run.toml" in refused.output
    assert "matchvision analyze" in refused.output
    assert not (in_folder / "outputs").exists()
    (folder / "empty").mkdir()
    assert "nothing lists a run" in type_in("season", "s/empty").output


def test_forecasts_are_received_and_a_draw_is_added(type_in: Type, in_folder: Path) -> None:
    folder = lay_out(in_folder / "s", 1, season="[draw]\nseed = 3\nkind = 'knock-out'\n")
    (in_folder / "all.csv").write_text("team,gear_ratio\ncurlew,250\ndunlin,much\n")
    refused = type_in("season", "s", "--receive", "all.csv")
    assert refused.exit_code == 2
    assert 'found "much"' in refused.output
    (in_folder / "all.csv").write_text("team,gear_ratio\ncurlew,250\n")
    done = type_in("season", "s", "--receive", "all.csv")
    assert done.exit_code == 0, done.output
    assert "curlew: received, fingerprint" in done.output
    assert "Missing: dunlin" in done.output
    told = json.loads(type_in("season", "s", "--receive", "all.csv", "--json").stdout)
    assert [(one["team"], one["fault"]) for one in told["received"]] == [("curlew", "")]
    assert told["missing"] == ["dunlin"]
    (folder / "runs.csv").unlink()
    (folder / "teams").mkdir()
    for team in ("curlew", "dunlin"):
        (folder / "teams" / f"{team}.toml").write_text(f"[machine.{team}]\nmass_kg = 2.5\n")
    done = type_in("season", "s", "--draw")
    assert done.exit_code == 0, done.output
    assert "Added to runs.csv" in done.output
    assert "No pairing is due" in type_in("season", "s", "--draw").output
    assert json.loads(type_in("season", "s", "--draw", "--json").stdout) == {"added": []}
    (folder / "runs.csv").unlink()
    (pairing,) = json.loads(type_in("season", "s", "--draw", "--json").stdout)["added"]
    assert {pairing["minus_x"], pairing["plus_x"]} == {"curlew", "dunlin"}


def test_a_folder_that_is_none_is_told(type_in: Type) -> None:
    done = type_in("season", "nowhere")
    assert done.exit_code == 2
    assert "there is no such folder" in done.output
