"""Starts before anything is filmed."""

from collections.abc import Mapping
from math import atan, cos, hypot, sin
from pathlib import Path

import pytest

from matchvision.errors import CannotMeasure
from matchvision.forecast import assume_starts
from matchvision.records.sheet import Run, RunSheet, StartPose

MACHINES: dict[str, dict[str, object]] = {
    "heron": {"home": "-x", "hitch": {"at_m": [-0.145, 0.02, 0.05]}},
    "plover": {"home": "+x", "hitch": {"at_m": [-0.15, 0.0, 0.25]}},
}


def _run(rules: Mapping[str, object] | None = None, **machines: Mapping[str, object]) -> Run:
    sheet = RunSheet.model_validate(
        {
            "run": {"name": "practice", "clip": "clip.mp4"},
            "clock": {"start_s": 0, "duration_s": 5},
            "table": {"length_m": 2, "width_m": 1},
            "rope": {"length_m": 1.0, "ends": ["heron", "plover"]},
            "machine": machines,
            "rules": rules or {},
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


def test_rules_put_hitches_where_they_say_and_a_start_of_its_own_comes_first() -> None:
    """A rope that hangs at the start: hitches 0.96 m apart on one of 1 m, whichever side a machine is drawn to."""
    starts, assumed = assume_starts(_run({"hitch_from_centre_m": 0.48}, **MACHINES))
    assert starts["heron"].at_m == pytest.approx((-0.48 - 0.145, 0.02))
    assert starts["plover"].at_m == pytest.approx((0.48 + 0.15, 0.0))
    assert [word for word in assumed if "[rules] hitch_from_centre_m" in word] == list(assumed)
    drawn = {"heron": {**MACHINES["heron"], "home": "+x"}, "plover": {**MACHINES["plover"], "home": "-x"}}
    turned, _ = assume_starts(_run({"hitch_from_centre_m": 0.48}, **drawn))
    assert turned["heron"].at_m == pytest.approx((0.48 + 0.145, -0.02))
    assert turned["heron"].heading_deg == 0.0
    own: dict[str, object] = {**MACHINES["heron"], "start": {"at_m": [-0.6, 0.1], "heading_deg": 170}}
    starts, assumed = assume_starts(_run({"hitch_from_centre_m": 0.48}, heron=own, plover=MACHINES["plover"]))
    assert starts["heron"] == StartPose(at_m=(-0.6, 0.1), heading_deg=170)
    assert len(assumed) == 1


def test_rules_that_would_stretch_the_rope_are_refused() -> None:
    with pytest.raises(CannotMeasure, match=r"puts the hitches 1\.217 m apart .* the rope is 1 m long") as refused:
        assume_starts(_run({"hitch_from_centre_m": 0.6}, **MACHINES))
    assert refused.value.do is not None


def test_rules_are_not_blamed_for_starts_that_they_do_not_give() -> None:
    """Both with starts of their own: nothing is by the rules. One: the refusal names it beside the rules."""
    own: dict[str, dict[str, object]] = {
        "heron": {**MACHINES["heron"], "start": {"at_m": [-0.9, 0.0], "heading_deg": 180}},
        "plover": {**MACHINES["plover"], "start": {"at_m": [0.9, 0.0], "heading_deg": 0}},
    }
    assert assume_starts(_run({"hitch_from_centre_m": 0.48}, **own)) == assume_starts(_run(**own))
    with pytest.raises(CannotMeasure, match=r"= 0\.48 and the start of heron put the hitches"):
        assume_starts(_run({"hitch_from_centre_m": 0.48}, heron=own["heron"], plover=MACHINES["plover"]))


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
