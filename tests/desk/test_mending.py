"""Tracking previewed and mended at the desk, the analysis run to the end, and its report served."""

import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from matchvision.desk import OpenDesk, open_desk
from matchvision.footage import read_facts
from matchvision.sheets import load_run
from matchvision.watching import watch
from tests.desk.clicking import marker_pixel
from tests.desk.talking import ask, post
from tests.desk.test_colouring import teach
from tests.desk.test_table_points import click_points

FRAME = 12


@pytest.fixture
def taught(desk: OpenDesk, filmed: Path) -> OpenDesk:
    assert post(desk, "/api/points", {"points": click_points(desk, 8), "keep": True}).status == 200
    assert all(answer.status == 200 for answer in teach(desk, filmed, FRAME))
    return desk


def waited(desk: OpenDesk, path: str) -> Any:
    until = time.monotonic() + 120
    while time.monotonic() < until:
        answer = ask(desk, path).data
        if answer["state"] != "working":
            return answer
        time.sleep(0.05)
    pytest.fail(f"{path} takes longer than two minutes")


def tracks_of(answer: Any) -> dict[str, Any]:
    return {track["name"]: track for track in answer["tracks"]["tracks"]}


def test_preview_follows_the_markers_and_a_swap_is_mended(taught: OpenDesk, filmed: Path, folder: Path) -> None:
    assert post(taught, "/api/preview", {"number": FRAME}).data["state"] == "working"
    before = waited(taught, "/api/previewed")
    assert before["state"] == "done", before
    frames = before["tracks"]["frames"]
    assert frames[0] == FRAME
    assert len(frames) > 30
    track = tracks_of(before)["heron.front"]
    for at in (0, 20, len(frames) - 1):
        truth = marker_pixel(filmed, "heron.front", frames[at])
        assert np.hypot(track["col"][at] - truth[0], track["row"][at] - truth[1]) < 1.0
    swap = [
        {"do": "tie", "marker": "heron.front", "followed_as": "heron.rear", "frame": 20},
        {"do": "tie", "marker": "heron.rear", "followed_as": "heron.front", "frame": 20},
    ]
    after = tracks_of(post(taught, "/api/mends", {"mend": swap}).data)
    at = frames.index(25)
    assert after["heron.front"]["col"][at] == tracks_of(before)["heron.rear"]["col"][at]
    assert after["heron.front"]["state"][at] == "tied"
    assert after["heron.front"]["state"][frames.index(19)] == "seen"
    assert [mend.do for mend in load_run(folder).mends.mend] == ["tie", "tie"]
    undone = tracks_of(post(taught, "/api/mends", {"mend": []}).data)
    assert undone["heron.front"] == track
    assert not (folder / "mends.toml").exists()


def test_the_whole_run_is_followed_as_the_analysis_follows_it(taught: OpenDesk, folder: Path) -> None:
    assert post(taught, "/api/preview", {"number": FRAME, "whole": True}).status == 200
    shown = waited(taught, "/api/previewed")
    run = load_run(folder)
    tracks = watch(run, read_facts(run.clip), None).tracks
    assert shown["tracks"]["frames"] == tracks.frame.tolist()
    for column, track in enumerate(shown["tracks"]["tracks"]):
        assert track["name"] == tracks.names[column]
        ours = np.array(track["col"], dtype=np.float64)
        np.testing.assert_allclose(ours, tracks.col_px[:, column], atol=0.006)


@pytest.mark.parametrize(
    "mend",
    [
        {"do": "cut", "marker": "nobody", "frame": 3},
        {"do": "end", "end": "nobody", "frame": 3, "pixel": [1.0, 2.0]},
        {"do": "strike", "marker": "bead_01", "frame": 9, "until_frame": 3},
    ],
)
def test_senseless_mends_are_refused_and_not_written(desk: OpenDesk, folder: Path, mend: dict[str, Any]) -> None:
    assert post(desk, "/api/mends", {"mend": [mend]}).status == 422
    assert post(desk, "/api/mends", {"mend": [{**mend, "more": 1}]}).status == 400
    assert not (folder / "mends.toml").exists()


def test_preview_says_what_is_missing(desk: OpenDesk) -> None:
    post(desk, "/api/preview", {"number": FRAME})
    answer = waited(desk, "/api/previewed")
    assert answer["state"] == "failed"
    assert "at least 4 are needed" in answer["message"]
    assert answer["do"]


def test_analysis_is_refused_while_something_is_wanting(desk: OpenDesk, tmp_path: Path) -> None:
    answer = post(desk, "/api/run", {})
    assert answer.status == 422
    assert any("colour.red" in fault for fault in answer.data["faults"])
    assert not (tmp_path / "results").exists()


@pytest.mark.slow
def test_analysis_runs_to_a_report_that_names_the_mends(taught: OpenDesk, tmp_path: Path) -> None:
    mends = [{"do": "strike", "marker": "bead_07", "frame": 30, "until_frame": 31, "why": "a sleeve"}]
    assert post(taught, "/api/mends", {"mend": mends}).status == 200
    assert post(taught, "/api/run", {}).data["state"] == "working"
    answer = waited(taught, "/api/running")
    assert answer["state"] == "done", answer
    assert "has won" in answer["verdict"]
    report = ask(taught, "/report/report.html")
    assert report.status == 200
    assert "sandbox" in report.headers["content-security-policy"]
    page = report.body.decode()
    assert "Mended by hand" in page
    assert "a sleeve" in page
    video = ask(taught, "/report/marked.mp4", headers={"Range": "bytes=0-99"})
    assert (video.status, len(video.body)) == (206, 100)
    assert ask(taught, "/report/tracks.csv").status == 404
    tracks = pd.read_csv(tmp_path / "results" / "tracks.csv").set_index(["marker", "frame"])
    assert tracks.loc[("bead_07", 30), "state"] == "bridged"
    assert tracks.loc[("bead_07", 29), "state"] == "seen"


def test_a_link_out_of_the_results_is_not_followed(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "report.html").symlink_to(folder / "run.toml")
    opened = open_desk(folder, tmp_path / "results")
    thread = opened.serve_aside()
    try:
        assert ask(opened, "/report/report.html").status == 404
    finally:
        opened.stop()
        thread.join(10)
