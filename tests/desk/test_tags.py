"""Printed tags at the desk: what is in view is listed, and a person can leave one out."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchvision.desk import OpenDesk, open_desk
from matchvision.sheets import load_run
from tests.desk.talking import ask, post

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"


@pytest.fixture
def tagged(tmp_path: Path) -> Path:
    folder = tmp_path / "run"
    folder.mkdir()
    shutil.copy(SAMPLE / "run.toml", folder)
    (folder / "clip.mp4").symlink_to(SAMPLE / "clip.mp4")
    return folder


@pytest.fixture
def sample(tagged: Path, tmp_path: Path) -> Iterator[OpenDesk]:
    opened = open_desk(tagged, tmp_path / "results")
    thread = opened.serve_aside()
    yield opened
    opened.stop()
    thread.join(10)


def test_found_tags_give_the_camera_and_one_may_be_left_out(sample: OpenDesk, tagged: Path) -> None:
    camera = ask(sample, "/api/camera").data
    assert camera["found"]
    assert camera["source"].startswith("4 tags")
    tags = ask(sample, "/api/tags").data["tags"]
    assert [tag["listed"] for tag in tags] == [True] * 4
    assert all(tag["side_px"] > 20 for tag in tags)
    sheet = ask(sample, "/api/state").data["table"]["tags"]
    fewer = post(sample, "/api/settags", {"tags": sheet[1:]}).data
    assert fewer["source"].startswith("3 tags")
    assert len(load_run(tagged).sheet.table.tag) == 3
    again = post(sample, "/api/settags", {"tags": None}).data
    assert again["source"].startswith("4 tags")
    assert not (tagged / "desk.toml").exists()


def test_a_tag_that_the_sheet_does_not_know_is_accepted_with_its_place(sample: OpenDesk) -> None:
    sheet = ask(sample, "/api/state").data["table"]["tags"]
    assert post(sample, "/api/settags", {"tags": sheet[:3]}).data["source"].startswith("3 tags")
    (unlisted,) = (tag for tag in ask(sample, "/api/tags").data["tags"] if not tag["listed"])
    assert unlisted["id"] == sheet[3]["id"]
    placed = {key: sheet[3][key] for key in ("family", "id", "side_m", "centre_m")}
    assert post(sample, "/api/settags", {"tags": [*sheet[:3], placed]}).data["source"].startswith("4 tags")
