"""Starts before anything is filmed."""

from collections.abc import Mapping
from math import atan, cos, hypot, sin
from pathlib import Path

import pytest

from matchvision.forecast import assume_starts
from matchvision.records.sheet import Run, RunSheet, StartPose

MACHINES: dict[str, dict[str, object]] = {
    "heron": {"home": "-x", "hitch": {"at_m": [-0.145, 0.02, 0.05]}},
    "plover": {"home": "+x", "hitch": {"at_m": [-0.15, 0.0, 0.25]}},
}


def _run(**machines: Mapping[str, object]) -> Run:
    sheet = RunSheet.model_validate(
        {
            "run": {"name": "practice", "clip": "clip.mp4"},
            "clock": {"start_s": 0, "duration_s": 5},
            "table": {"length_m": 2, "width_m": 1},
            "rope": {"length_m": 1.0, "ends": ["heron", "plover"]},
            "machine": machines,
        }
    )
    return Run(sheet=sheet, folder=Path())


def test_rope_is_taut_and_halved() -> None:
    starts, assumed = assume_starts(_run(**MACHINES))
    heron, plover = starts["heron"], starts["plover"]
    assert (heron.heading_deg, plover.heading_deg) == (180.0, 0.0)
    hitch_heron = (heron.at_m[0] + 0.145, heron.at_m[1] - 0.02)  # forward is -x, so left is -y
    hitch_plover = (plover.at_m[0] - 0.15, plover.at_m[1])
    assert hitch_heron[1] == hitch_plover[1] == 0.0
    assert hitch_heron[0] == pytest.approx(-hitch_plover[0])
    assert hypot(hitch_plover[0] - hitch_heron[0], 0.25 - 0.05) == pytest.approx(1.0)
    assert len(assumed) == 2


def test_the_sheet_wins_and_nothing_is_invented() -> None:
    given: dict[str, object] = {**MACHINES["heron"], "start": {"at_m": [-0.6, 0.1], "heading_deg": 170}}
    starts, assumed = assume_starts(_run(heron=given, plover={"home": "+x"}))
    assert starts == {"heron": StartPose(at_m=(-0.6, 0.1), heading_deg=170)}
    assert assumed == ()


def test_the_other_machine_stands_where_the_rope_is_taut() -> None:
    given: dict[str, object] = {**MACHINES["heron"], "start": {"at_m": [-0.5, -0.1], "heading_deg": 180}}
    starts, assumed = assume_starts(_run(heron=given, plover=MACHINES["plover"]))
    hitch_heron, hitch_plover_x = (-0.355, -0.12, 0.05), starts["plover"].at_m[0] - 0.15
    assert hypot(hitch_plover_x - hitch_heron[0], hitch_heron[1], 0.25 - 0.05) == pytest.approx(1.0)
    assert len(assumed) == 1


def test_rope_over_a_ridge_is_taut_and_halved() -> None:
    """By hand: on each side a straight piece from the crest, raised by the beads' radius, to the hitch on its slope."""
    profile = ((-1.0, -0.1), (0.0, 0.0), (1.0, -0.1))
    low = {"plover": {**MACHINES["plover"], "hitch": {"at_m": [-0.15, 0.0, 0.03]}}, "heron": MACHINES["heron"]}
    level = _run(**low).sheet
    ridge = level.model_copy(update={"table": level.table.model_copy(update={"profile_m": profile})})
    starts, _ = assume_starts(Run(sheet=ridge, folder=Path()))
    tilt = atan(0.1)
    for name, sign, (back_m, up_m) in (("heron", -1, (0.145, 0.05)), ("plover", 1, (0.15, 0.03))):
        x_m = abs(starts[name].at_m[0])
        hitch_x = x_m - back_m * cos(tilt) + up_m * sin(tilt)
        hitch_z = -0.1 * x_m + back_m * sin(tilt) + up_m * cos(tilt)
        assert sign * starts[name].at_m[0] > 0
        assert hypot(hitch_x, hitch_z - 0.009) == pytest.approx(0.5, abs=1e-3)
