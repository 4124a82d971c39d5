"""Markers in view before anything is followed."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from matchvision.footage import first_look, read_facts
from matchvision.geometry.camera import project_points
from matchvision.markers import list_colours, plan_markers
from matchvision.sheets import load_run
from matchvision.table import find_table

SAMPLES = Path(__file__).parents[2] / "sample_clips"


def test_a_hidden_marker_is_missed() -> None:
    run = load_run(SAMPLES / "flat-match")
    facts = read_facts(run.clip)
    frames = [f for f in first_look(facts) if f.clip_s < 0.5]
    view, _ = find_table(frames, run.sheet, None)
    colours, places = list_colours(frames, view.camera, run, facts)
    assert sum(len(c.planned) for c in colours) == len(plan_markers(run)) == 22
    assert [c.missing for c in colours] == [()] * len(colours)
    col, row = places["bead_05"]
    hidden = []
    for frame in frames:
        blue, red = frame.blue.copy(), frame.red.copy()
        part = (slice(int(row) // 2 - 5, int(row) // 2 + 6), slice(int(col) // 2 - 5, int(col) // 2 + 6))
        blue[part], red[part] = 128, 128
        hidden.append(replace(frame, blue=blue, red=red))
    colours, places = list_colours(hidden, view.camera, run, facts)
    assert [name for c in colours for name in c.missing] == ["bead_05"]
    assert "bead_05" not in places


def test_markers_are_where_they_are() -> None:
    """The rope's beads lie between the machines, over the table."""
    run = load_run(SAMPLES / "flat-match")
    facts = read_facts(run.clip)
    frames = first_look(facts, 2)
    view, _ = find_table(frames, run.sheet, None)
    _, places = list_colours(frames, view.camera, run, facts)
    left, right = (project_points(view.camera.parameters, np.array([[x, 0.0, 0.05]]))[0, 0] for x in (-0.6, 0.6))
    beads = [col for name, (col, _) in sorted(places.items()) if name.startswith("bead")]
    assert len(beads) == 14
    assert all(a < b for a, b in pairwise(beads))
    assert left < beads[0] < beads[-1] < right
