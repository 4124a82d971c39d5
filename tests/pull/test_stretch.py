"""The pull that the cord's own stretch shows."""

import numpy as np
import pytest

from matchvision.pull.stretch import measure_stretch
from tests.made_motion import make_rope, make_run


def test_small_stretch_is_left_out() -> None:
    cord = make_run(rope={"stiffness_N_per_m": 5000}).sheet.rope
    assert cord is not None
    assert measure_stretch(cord, make_rope(3, total_m=1.003, u_total_m=0.004)) is None


def test_soft_cord_shows_its_pull() -> None:
    cord = make_run(rope={"stiffness_N_per_m": {"value": 200, "u": 4}}).sheet.rope
    assert cord is not None
    source = measure_stretch(cord, make_rope(3, total_m=np.array([1.0001, 1.05, 1.1]), u_total_m=0.002))
    assert source is not None
    assert np.isnan(source.tension_N[0])
    assert source.tension_N[1:] == pytest.approx([10.0, 20.0])
    assert source.u_tension_N[2] == pytest.approx(np.hypot(200 * 0.002, 20 * 0.02))


def test_cord_with_a_sprung_link_is_not_read() -> None:
    cord = make_run(rope={"stiffness_N_per_m": 200}).sheet.rope
    assert cord is not None
    link = {
        "from_m": 0.2,
        "markers": ({"name": "a", "colour": "red"}, {"name": "b", "colour": "red"}),
        "hang_test": "h.csv",
    }
    linked = make_run(rope={"stiffness_N_per_m": 200, "link": link}).sheet.rope
    assert linked is not None
    assert measure_stretch(linked, make_rope(3, total_m=1.1)) is None
