"""Numbers and plans of a drive that cannot be are named with their keys, wherever the drive stands."""

from typing import Any

import pytest

from matchvision.sheets.drives import check_drives
from matchvision.sheets.sense import check_sense


def faults_of(drive: dict[str, Any]) -> dict[str, str]:
    """Key and found text of every fault, the drive standing in a forecast."""
    return {".".join(map(str, fault.key)): fault.found for fault in check_drives({"forecast": {"heron": drive}})}


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("gear_ratio", 0), ("gear_ratio", -236), ("no_load_rev_min", 0), ("stall_torque_Nm", -1),
        ("drive_efficiency", 1.4), ("grip_static", {"value": -0.5, "u": 0.1}), ("start_delay_s", -1), ("reach_s", 0),
        ("supply_sag_ratio", 2),
    ],
)  # fmt: skip
def test_numbers_that_cannot_be(word: str, value: object) -> None:
    assert list(faults_of({word: value})) == [f"forecast.heron.{word}"]


def test_numbers_that_can_be() -> None:
    drive = {
        "gear_ratio": 236, "drive_friction_Nm": 0, "drive_efficiency": 1.0, "grip_static": {"value": 0.8, "u": 0.1},
        "grip_sliding": 0.8, "throttle": [[0, -1], [1, 1]], "winding": [[0, 0], [1, 0.2]],
    }  # fmt: skip
    assert faults_of(drive) == {}


def test_sliding_grips_no_better_than_standing() -> None:
    assert list(faults_of({"grip_static": 0.7, "grip_sliding": 0.9})) == ["forecast.heron.grip_sliding"]


@pytest.mark.parametrize("plan", ["throttle", "holding_over_time", "holding_by_angle", "winding"])
def test_plans_go_on_and_stay_within_bounds(plan: str) -> None:
    found = faults_of({plan: [[0.0, 0.5], [0.0, 0.6], [1.0, -2.0]]})
    assert list(found) == [f"forecast.heron.{plan}.1", f"forecast.heron.{plan}.2.1"]


def test_sides_and_measured_drives_are_checked_too() -> None:
    sheet = {"forecast": {"heron": {"left": {"gear_ratio": 0}}}, "machine": {"plover": {"drive": {"grip_static": -1}}}}
    keys = [fault.key for fault in check_sense(sheet)]
    assert ("forecast", "heron", "left", "gear_ratio") in keys
    assert ("machine", "plover", "drive", "grip_static") in keys


GEAR = {"kind": "gear", "ratio": 64, "efficiency": 0.85}
BELT = {"kind": "belt", "ratio": {"value": 4.1, "u": 0.05}, "efficiency": 0.95}


@pytest.mark.parametrize(
    ("drive", "key", "found"),
    [
        ({"stage": [{**GEAR, "ratio": 0}]}, "stage.0.ratio", "found 0"),
        ({"stage": [GEAR, {**BELT, "efficiency": 1.2}]}, "stage.1.efficiency", "found 1.2"),
        ({"stage": [GEAR, {"kind": "belt", "ratio": 4}]}, "stage.1.efficiency", "this key is missing"),
        ({"stage": [GEAR, BELT], "gear_ratio": 262}, "gear_ratio", "beside 2 stages with a ratio of their own"),
        ({"stage": [GEAR], "drive_efficiency": 0.9}, "drive_efficiency", "beside 1 stage with an efficiency of"),
        ({"left": {"stage": [BELT], "gear_ratio": 4}}, "left.gear_ratio", "beside 1 stage"),
    ],
)
def test_stages_and_totals_do_not_contradict_each_other(drive: dict[str, Any], key: str, found: str) -> None:
    faults = faults_of(drive)
    assert list(faults) == [f"forecast.heron.{key}"]
    assert found in faults[f"forecast.heron.{key}"]


def test_a_total_efficiency_may_stand_beside_ratios() -> None:
    ratios = [{"kind": "gear", "ratio": 64}, {"kind": "belt", "ratio": 4}]
    assert faults_of({"stage": ratios, "drive_efficiency": 0.8}) == {}
    assert faults_of({"stage": [GEAR, BELT], "left": {"gear_ratio": 200}}) == {}
