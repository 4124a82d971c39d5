"""Which markers there are, and in what order."""

import numpy as np
import pytest

from matchvision.markers import plan_markers
from tests.truth import SAMPLE_CLIPS, read_run


def test_rope_comes_first_by_arc_length_then_each_machine() -> None:
    plans = plan_markers(read_run(SAMPLE_CLIPS / "sled-link"))
    names = [p.name for p in plans]
    assert names[:5] == ["bead_01", "bead_02", "bead_03", "link_1", "link_2"]
    assert names[13:] == ["heron.front", "heron.rear", "heron.wheel_1", "heron.wheel_2", "sled.front", "sled.rear"]
    arcs = [p.arc_m for p in plans if p.kind in {"bead", "link"}]
    assert np.all(np.diff(arcs) > 0)
    assert len(set(names)) == len(names)


def test_the_second_link_marker_stands_where_the_unloaded_link_ends() -> None:
    run = read_run(SAMPLE_CLIPS / "sled-link")
    link = {p.name: p for p in plan_markers(run) if p.kind == "link"}
    assert run.hang_test is not None
    slope, start = np.polyfit(run.hang_test.mass_kg, run.hang_test.length_m, 1)
    assert slope > 0
    assert link["link_2"].arc_m - link["link_1"].arc_m == pytest.approx(start, abs=1e-3)


def test_a_wheel_gives_its_face_and_circle_to_its_marks() -> None:
    plans = {p.name: p for p in plan_markers(read_run(SAMPLE_CLIPS / "flat-match"))}
    mark = plans["heron.wheel_2"]
    assert (mark.kind, mark.colour, mark.angle_deg, mark.circle_m) == ("rim", "blue", 90, 0.029)
    assert mark.at_m == (0.085, 0.1184, 0.045)
    assert not mark.sphere
    assert plans["bead_01"].sphere
