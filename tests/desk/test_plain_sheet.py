"""A sheet without markers at the desk: points and the rope's ends are enough, and the rest says so."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchvision.desk import OpenDesk, open_desk
from matchvision.sheets import load_run
from tests.desk.talking import ask, post
from tests.desk.test_mending import waited
from tests.desk.test_table_points import click_points

SHEET = """
[run]
name = "plain"
clip = "clip.mp4"
[clock]
start_s = 0.4
duration_s = 1.2
[table]
length_m = 2.2
width_m = 1.1
[rope]
length_m = 0.94
ends = ["heron", "plover"]
[machine.heron]
home = "-x"
[machine.plover]
home = "+x"
"""


@pytest.fixture
def plain(filmed: Path, tmp_path: Path) -> Iterator[OpenDesk]:
    folder = tmp_path / "run"
    folder.mkdir()
    (folder / "run.toml").write_text(SHEET)
    (folder / "clip.mp4").hardlink_to(filmed / "clip.mp4")
    shutil.copy(filmed / "truth.csv", tmp_path)
    opened = open_desk(folder, tmp_path / "results")
    thread = opened.serve_aside()
    yield opened
    opened.stop()
    thread.join(10)


def test_points_and_ends_are_kept_and_the_rest_says_why_not(plain: OpenDesk, tmp_path: Path) -> None:
    post(plain, "/api/points", {"points": click_points(plain, 6), "keep": True})
    state = ask(plain, "/api/state").data
    assert state["colours"] == []
    assert state["markers"] == []
    assert state["wanting"] == []
    assert ask(plain, "/api/mask/12").status == 200
    assert post(plain, "/api/look", {"number": 12}).data["found"] == []
    post(plain, "/api/preview", {"number": 12})
    assert "names no markers" in waited(plain, "/api/previewed")["message"]
    ends = [
        {"do": "end", "end": end, "frame": frame, "pixel": [300.0 + 2 * frame, 250.0], "u_px": 1.0}
        for frame in (12, 48)
        for end in ("heron", "plover")
    ]
    assert post(plain, "/api/mends", {"mend": ends}).status == 200
    assert len(load_run(tmp_path / "run").mends.mend) == 4
