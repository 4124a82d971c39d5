"""Colours guessed from their names: near what the clip truly shows, and left alone where a name says nothing."""

from pathlib import Path

import numpy as np
import pytest

from matchvision.desk import OpenDesk
from matchvision.desk.guessing import name_hue
from matchvision.markers import chroma_of
from matchvision.sheets import load_run
from tests.desk.filmed import small_scene
from tests.desk.talking import ask, post
from tests.desk.test_table_points import click_points


def test_colours_are_guessed_from_their_names(desk: OpenDesk, filmed: Path, folder: Path) -> None:
    post(desk, "/api/points", {"points": click_points(desk, 8), "keep": True})
    state = post(desk, "/api/guess", {"number": 12}).data
    guessed = {colour["name"]: colour["srgb"] for colour in state["colours"] if colour["guessed"]}
    painted = small_scene().colour
    assert len(guessed) >= len(painted) - 1
    for name, srgb in guessed.items():
        seen, truth = (chroma_of(colour, "bt709", full_range=False) for colour in (srgb, painted[name]))
        off_deg = np.rad2deg(np.arccos(seen @ truth / np.linalg.norm(seen) / np.linalg.norm(truth)))
        assert off_deg < 15, name
    found = post(desk, "/api/look", {"number": 12}).data
    assert len(found["found"]) >= 16
    assert load_run(folder).sheet.colour.keys() >= guessed.keys()


def test_a_click_takes_the_place_of_a_guess(desk: OpenDesk, filmed: Path) -> None:
    from tests.desk.clicking import marker_pixel

    post(desk, "/api/points", {"points": click_points(desk, 8), "keep": True})
    post(desk, "/api/guess", {"number": 12})
    pixel = marker_pixel(filmed, "heron.front", 12)
    state = post(desk, "/api/colour", {"name": "green", "number": 12, "pixel": pixel, "more": True}).data
    (green,) = (colour for colour in state["colours"] if colour["name"] == "green")
    assert (green["guessed"], green["samples"]) == (False, [])
    again = post(desk, "/api/guess", {"number": 12}).data
    assert next(c for c in again["colours"] if c["name"] == "green")["srgb"] == green["srgb"]


def test_without_a_camera_nothing_is_guessed(desk: OpenDesk, folder: Path) -> None:
    answer = post(desk, "/api/guess", {"number": 12})
    assert answer.status == 422
    assert "at least 4 are needed" in answer.data["what"]
    assert all(colour["srgb"] is None for colour in ask(desk, "/api/state").data["colours"])
    assert not (folder / "desk.toml").exists()


@pytest.mark.parametrize(
    ("name", "known"), [("red", True), ("dark_red", True), ("light-blue", True), ("ours", False), ("colour_3", False)]
)
def test_a_name_says_a_hue_or_nothing(name: str, *, known: bool) -> None:
    assert (name_hue(name) is not None) == known
