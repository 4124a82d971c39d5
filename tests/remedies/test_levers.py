"""Levers of a machine: what they change, and what they leave alone."""

import math
from dataclasses import replace

import pytest

from matchvision.mechanics.machine import Arm
from matchvision.remedies.levers import levers_of
from tests.remedies.test_limiting import HERON


def test_neutral_settings_change_nothing() -> None:
    machine = replace(
        HERON, driven="rear", start_delay_s=0.4, arm=Arm(stroke_m=0.2, mass_kg=0.1, lasts_s=0.6, from_s=0.0)
    )
    levers = {lever.name: lever for lever in levers_of(machine)}
    assert set(levers) == {"gear", "grip", "weight", "arm", "start"}
    for lever in levers.values():
        assert lever.turn(machine, lever.neutral) == machine
        assert lever.size_of(lever.neutral) == 0.0
        assert any(math.isclose(setting, lever.neutral) for setting in lever.settings)
        assert list(lever.settings) == sorted(lever.settings)
        changed = lever.turn(machine, lever.settings[-1])
        assert changed != machine
        assert replace(
            changed,
            left=machine.left, right=machine.right, grip_static=machine.grip_static, grip_sliding=machine.grip_sliding,
            centre_of_mass_m=machine.centre_of_mass_m, arm=machine.arm, start_delay_s=machine.start_delay_s,
        ) == machine  # fmt: skip


def test_a_taller_gear_gives_torque_for_speed() -> None:
    gear = next(lever for lever in levers_of(HERON) if lever.name == "gear")
    side = gear.turn(HERON, 1.25).left
    assert side is not None
    assert HERON.left is not None
    assert side.stall_torque_Nm == pytest.approx(1.25 * HERON.left.stall_torque_Nm)
    assert side.free_rate_rad_s == pytest.approx(HERON.left.free_rate_rad_s / 1.25)


def test_only_levers_that_are_there() -> None:
    assert {lever.name for lever in levers_of(HERON)} == {"gear", "grip"}
    assert {lever.name for lever in levers_of(replace(HERON, left=None, right=None))} == {"grip"}


def test_weight_stays_between_the_axles() -> None:
    machine = replace(HERON, driven="rear", centre_of_mass_m=(0.06, 0.0, 0.06))
    weight = next(lever for lever in levers_of(machine) if lever.name == "weight")
    places = [weight.turn(machine, setting).centre_of_mass_m[0] for setting in weight.settings]
    assert max(places) <= 0.5 * machine.wheelbase_m + 1e-9
    assert min(places) >= -0.5 * machine.wheelbase_m - 1e-9
