"""Pictures of the moment at which a rope came off, and what operators did, on the page."""

import dataclasses

import cv2
import numpy as np
import pytest

from matchvision.footage import read_frames
from matchvision.report.canvas import colours_of
from matchvision.report.operating import logged_commands
from matchvision.report.page import render_page
from matchvision.report.strips import GAP_PX, LINE_PX, MARK, MOMENTS_S, TILE_PX, cut_strips
from tests.report.invented import invent_analysis


def test_strip_shows_the_hitch_before_and_after() -> None:
    analysis = invent_analysis("hitch-slips")
    (strip,) = cut_strips(analysis, lambda a, b: read_frames(analysis.clip, a, b))
    assert np.allclose(strip.offsets_s, MOMENTS_S, atol=0.04)
    picture = cv2.imdecode(np.frombuffer(strip.jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    # The whole picture before them shows where they come from.
    count = len(MOMENTS_S) + 1
    assert picture.shape == (TILE_PX[1] + LINE_PX, count * TILE_PX[0] + GAP_PX * (count - 1), 3)
    mark = np.abs(picture.astype(int) - MARK).sum(axis=2) < 120
    assert mark[: TILE_PX[1], : TILE_PX[0]].sum() > 100
    step = round(0.17 * analysis.clip.frame_rate_per_s)
    assert np.diff(strip.numbers).tolist() == pytest.approx([step] * (len(MOMENTS_S) - 1), abs=1)
    assert f"Pictures {strip.numbers[0]} to {strip.numbers[-1]}" in strip.source
    page = render_page(analysis, has_clip=False, strips=[strip])
    assert strip.uri in page
    assert "Where the rope came off plover" in page
    assert strip.source in page.replace("&#39;", "'")


def test_run_without_a_lost_rope_has_no_strip() -> None:
    assert not cut_strips(invent_analysis(), lambda _a, _b: [])


@pytest.mark.parametrize("matrix", ["bt601", "bt709", "bt2020"])
def test_grey_stays_grey_and_black_and_white_are_reached(matrix: str) -> None:
    luma = np.array([[16, 125, 235]], np.uint8)
    none = np.full_like(luma, 128)
    colours = colours_of(luma, none, none, matrix, full_range=False)
    assert colours[0, :, 0].tolist() == colours[0, :, 1].tolist() == colours[0, :, 2].tolist()
    assert colours[0, [0, 2], 0].tolist() == [0, 255]


def test_operators_commands_stand_beside_what_happened() -> None:
    analysis = invent_analysis()
    log = np.array([[0.0, 0.0], [0.5, 0.6], [1.0, 0.61], [2.0, 1.0]])
    both = np.array([[0.0, 0.0, 0.0], [1.5, 0.8, 0.2]])
    run = dataclasses.replace(analysis.run, commands={"heron": log, "plover": both})
    told = dataclasses.replace(analysis, run=run)
    commands = logged_commands(told)
    assert [(c.at_s, c.machine) for c in commands] == [(0.5, "heron"), (1.5, "plover"), (2.0, "heron")]
    assert commands[1].words == "left drive from 0 % to 80 %, right drive from 0 % to 20 %"
    page = render_page(told, has_clip=False)
    assert "What the operators did" in page
    assert commands[2].words in page
    assert "What the operators did" not in render_page(analysis, has_clip=False)
