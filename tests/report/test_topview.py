"""The table from above: the rope cut at the centre line, hitches and places in the right order."""

import dataclasses
import itertools
import math

import numpy as np
import pytest

from matchvision.report.readings import place_of_run, rope_middle, rope_share
from matchvision.report.topview import hitch_places, outline_machines, rope_polylines, split_at_line
from tests.report.invented import invent_analysis
from tests.truth import read_truth


def length(line: list[tuple[float, float]]) -> float:
    return sum(math.dist(a, b) for a, b in itertools.pairwise(line))


def test_cut_pieces_add_up_and_lie_on_their_sides() -> None:
    line = [(-0.4, 0.1), (-0.1, 0.0), (0.2, 0.1), (-0.05, 0.2), (0.3, 0.3)]
    pieces = split_at_line(line)
    assert len(pieces["minus"]) == 2
    assert len(pieces["plus"]) == 2
    assert sum(length(p) for side in pieces.values() for p in side) == pytest.approx(length(line))
    assert all(x <= 1e-12 for p in pieces["minus"] for x, _ in p)
    assert all(x >= -1e-12 for p in pieces["plus"] for x, _ in p)


def test_drawn_rope_has_the_measured_lengths_on_each_side() -> None:
    analysis = invent_analysis("flat-match")
    truth = read_truth(analysis.run.folder)
    frame = 500  # taut and straight: the drawing may lose no length
    pieces = split_at_line(rope_polylines(analysis, np.array([frame]))[0])
    drawn = sum(length(p) for p in pieces["plus"])
    assert drawn == pytest.approx(truth["rope_plus_x_m"][frame], abs=0.003)


def test_a_rope_that_came_off_does_not_reach_the_hitch() -> None:
    analysis = invent_analysis("hitch-slips")
    on, off = rope_polylines(analysis, np.array([60, 220]))
    plover = hitch_places(analysis, "plover")
    assert plover is not None
    assert math.dist(on[-1], tuple(plover[60])) < 1e-9
    assert math.dist(off[-1], tuple(plover[220])) > 0.2


def test_hitches_are_where_the_truth_has_them() -> None:
    analysis = invent_analysis("flat-match")
    truth = read_truth(analysis.run.folder)
    heron = hitch_places(analysis, "heron")
    assert heron is not None
    assert np.allclose(heron[:, 0], truth["heron_hitch_x"], atol=0.002)
    assert np.allclose(heron[:, 1], truth["heron_hitch_y"], atol=0.002)


def test_middle_and_share_agree_with_the_truth() -> None:
    analysis = invent_analysis("flat-match")
    truth = read_truth(analysis.run.folder)
    assert analysis.motion.rope is not None
    share, u_share = rope_share(analysis.motion.rope)
    assert np.allclose(share, truth["rope_plus_x_m"] / truth["rope_total_m"])
    # Both sides and the whole are known to u alike, so that the sides' errors oppose each other by half: of u over the
    # length, √(1 − p (1 − p)) is left.
    assert np.allclose(u_share, 0.002 / truth["rope_total_m"] * np.sqrt(1 - share * (1 - share)), rtol=1e-6)
    middle, u_middle = rope_middle(analysis.motion.rope)
    assert np.allclose(middle, truth["rope_plus_x_m"] - truth["rope_total_m"] / 2)
    assert np.allclose(u_middle, 0.002 * np.sqrt(3) / 2)  # (1 + 1 + 1)/4 of the variance


def test_a_dragged_load_gives_the_place() -> None:
    assert place_of_run(invent_analysis("sled-link"))[0] == "place of sled"
    assert place_of_run(invent_analysis("flat-match"))[0] == "place of the rope's middle"


def test_outline_is_to_scale_and_says_when_it_is_not_known() -> None:
    analysis = invent_analysis("flat-match")
    outline = outline_machines(analysis)[0]
    assert (outline.length, outline.width, outline.known) == (280.0, 234.0, True)
    heron = analysis.run.sheet.machine["heron"].model_copy(update={"size_m": None})
    sheet = analysis.run.sheet.model_copy(update={"machine": {**analysis.run.sheet.machine, "heron": heron}})
    bare = dataclasses.replace(analysis, run=dataclasses.replace(analysis.run, sheet=sheet))
    assert not outline_machines(bare)[0].known
