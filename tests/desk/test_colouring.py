"""Colours learnt from clicks: their chroma is that of the patch, and with them the markers are found."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from matchvision.desk import OpenDesk
from matchvision.desk.colouring import find_srgb
from matchvision.footage import read_facts
from matchvision.markers import chroma_of
from matchvision.sheets import load_run
from tests.desk.clicking import example_of, marker_pixel
from tests.desk.filmed import small_scene
from tests.desk.talking import ask, post
from tests.desk.test_table_points import click_points


@pytest.mark.parametrize("matrix", ["bt709", "bt601", "bt2020"])
@pytest.mark.parametrize("transfer", ["bt709", "hlg", "pq"])
def test_a_learnt_colour_has_the_chroma_of_its_patch(filmed: Path, matrix: str, transfer: str) -> None:
    facts = replace(read_facts(filmed / "clip.mp4"), matrix=matrix, transfer=transfer)
    for wanted in ("#d02030", "#18a0c0", "#f0d020", "#20a040"):
        chroma = chroma_of(wanted, matrix, facts.full_range, transfer)
        learnt = find_srgb(chroma, 100.0, facts)
        assert chroma_of(learnt, matrix, facts.full_range, transfer) == pytest.approx(chroma, abs=1.0)


def teach(desk: OpenDesk, folder: Path, number: int = 12) -> list[Any]:
    """A click for each colour that the sheet does not know, on a marker that wears it."""
    scene = small_scene()
    answers = []
    for colour in ask(desk, "/api/state").data["colours"]:
        pixel = marker_pixel(folder, example_of(scene, colour["name"]), number)
        answers.append(post(desk, "/api/colour", {"name": colour["name"], "number": number, "pixel": pixel}))
    return answers


def test_with_points_and_a_click_a_colour_the_markers_are_found(desk: OpenDesk, filmed: Path, folder: Path) -> None:
    post(desk, "/api/points", {"points": click_points(desk, 8), "keep": True})
    answers = teach(desk, filmed)
    assert all(answer.status == 200 for answer in answers), answers
    assert answers[-1].data["wanting"] == []
    found = post(desk, "/api/look", {"number": 12}).data
    for marker in found["found"]:
        truth = marker_pixel(filmed, marker["name"], 12)
        assert np.hypot(*np.subtract(marker["pixel"], truth)) < 3.0, marker
    names = {marker["name"] for marker in found["found"]}
    assert {"heron.front", "heron.rear", "plover.front", "plover.rear"} <= names
    assert sum(name.startswith("bead") for name in names) >= 10
    assert load_run(folder).sheet.colour["red"].srgb.startswith("#")


def test_more_clicks_are_samples_and_a_colour_can_be_forgotten(desk: OpenDesk, filmed: Path) -> None:
    pixel = marker_pixel(filmed, "heron.front", 12)
    for more in (False, True, True):
        state = post(desk, "/api/colour", {"name": "green", "number": 12, "pixel": pixel, "more": more}).data
    (green,) = (colour for colour in state["colours"] if colour["name"] == "green")
    assert len(green["samples"]) == 2
    state = post(desk, "/api/forget", {"name": "green"}).data
    (green,) = (colour for colour in state["colours"] if colour["name"] == "green")
    assert green["srgb"] is None


def test_grey_teaches_nothing(desk: OpenDesk, folder: Path) -> None:
    answer = post(desk, "/api/colour", {"name": "green", "number": 12, "pixel": [480.0, 400.0]})
    assert answer.status == 422
    assert "hardly any colour" in answer.data["what"]
    assert post(desk, "/api/colour", {"name": "teal", "number": 12, "pixel": [480.0, 400.0]}).status == 422
    assert not (folder / "desk.toml").exists()


def test_the_mask_is_clear_where_the_colour_is(desk: OpenDesk, filmed: Path) -> None:
    pixel = marker_pixel(filmed, "heron.front", 12)
    post(desk, "/api/colour", {"name": "green", "number": 12, "pixel": pixel})
    picture = cv2.imdecode(np.frombuffer(ask(desk, "/api/mask/12").body, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
    assert picture is not None
    assert picture[round(pixel[1]), round(pixel[0]), 3] == 0
    assert np.mean(picture[..., 3] == 0) < 0.02
