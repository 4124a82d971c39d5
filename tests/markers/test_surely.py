"""How surely markers are found, and which colours are too like, on a sample clip."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import first_look, look_at_scene, read_facts
from matchvision.markers import list_markers
from matchvision.records.frames import Frame
from matchvision.sheets import load_run
from matchvision.table import find_or_hold_table

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"


def cover(frame: Frame) -> Frame:
    """The picture with its left half, where heron stands, painted grey."""
    luma, blue, red = (np.array(p) for p in (frame.luma, frame.blue, frame.red))
    luma[:, :640], blue[:, :320], red[:, :320] = 120, 128, 128
    return replace(frame, luma=luma, blue=blue, red=red)


@pytest.mark.slow
def test_markers_are_found_in_their_colours() -> None:
    run = load_run(SAMPLE)
    facts = read_facts(run.clip)
    frames = first_look(facts, 12)
    view, _ = find_or_hold_table(frames, run.sheet, None, None, look_at_scene(frames, None))
    markers = list_markers(frames, view.camera, run, facts)
    assert len(markers) == 22
    for marker in markers:
        assert marker.found == marker.looks == 8
        assert marker.turned_deg < 15
        assert marker.strength_levels > 40
        assert marker.rival_deg > 25
    half = [cover(frame) if k % 2 else frame for k, frame in enumerate(frames)]
    by_name = {marker.name: marker for marker in list_markers(half, view.camera, run, facts)}
    assert by_name["heron.front"].found < by_name["heron.front"].looks
    assert by_name["plover.front"].found == by_name["plover.front"].looks
