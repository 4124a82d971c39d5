"""Wider windows never reach another marker of the same name class."""

import numpy as np

from matchvision.markers.widening import rope_rivals, widen
from matchvision.records.tracks import MarkerPlan


def test_rope_windows_stay_clear_of_rivals() -> None:
    plans = [MarkerPlan(f"bead_{i}", "bead", c, 0.009, arc_m=0.1 * i) for i, c in enumerate(["red", "cyan"] * 3)]
    plans.append(MarkerPlan("heron.front", "body", "red", 0.014, machine="heron"))
    places = np.array([(30.0 * i, 50.0) for i in range(6)] + [(2.0, 50.0)])
    rivals = rope_rivals(plans)
    assert rivals.sum() == 12
    assert not rivals[6].any()
    half = widen(plans, rivals, np.full(7, 4.0), places, [True] * 7)
    assert np.all(half[:6] < 30.0)
    assert np.all(half[:6] > 20.0)


def test_a_wheel_of_unknown_angle_is_searched_all_round() -> None:
    plans = [MarkerPlan("heron.wheel_1", "rim", "red", 0.0085, machine="heron", wheel="w", circle_m=0.029)]
    place, rivals = np.array([(50.0, 50.0)]), rope_rivals(plans)
    known = widen(plans, rivals, np.array([3.4]), place, [True])[0]
    unknown = widen(plans, rivals, np.array([3.4]), place, [False])[0]
    circle_px = 3.4 * 0.029 / 0.0085
    assert known < circle_px + 3.4 < unknown
