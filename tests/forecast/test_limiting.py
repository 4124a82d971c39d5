"""What limits a machine follows from its own numbers."""

from typing import Any

import numpy as np
import pytest

from matchvision.forecast import predict_run
from matchvision.records.forecast import LIMITS, ForecastMachine
from tests.forecast.test_predicting import STARTS, drive, machine, run_of, sheet


def heron_with(mass_plover_kg: float = 30.0, **numbers: Any) -> ForecastMachine:
    """Heron against an opponent that cannot be moved, without uncertainties."""
    bare = {"stall_torque_Nm": 0.0036, "drive_efficiency": 0.72, "grip_static": 0.8}
    content = sheet(
        machine={"heron": machine("-x"), "plover": machine("+x", mass_plover_kg)},
        forecast={"heron": drive(**{**bare, **numbers}), "plover": {"holding_N": 500.0, "grip_static": 0.9}},
    )
    return predict_run(run_of(content), STARTS)[0].machines["heron"]


def test_limits_follow_the_closed_forms() -> None:
    # Stall pull at the rim: 2 · 0.0036 · 236 · 0.72 / 0.045 = 27 N, less 2 N of friction; grip 0.8 holds 20 N.
    assert heron_with().limits["grip"][-1] == 1.0
    assert heron_with(grip_static=1.5).limits["torque"][-1] == 1.0
    assert heron_with(stall_torque_Nm=0.0018).limits["torque"][-1] == 1.0


def test_nothing_is_given_before_the_start() -> None:
    late = heron_with(start_delay_s=1.0)
    assert set(late.limits["off"][:49]) == {1.0}
    assert late.limits["off"][-1] == 0.0


def test_a_brake_holds_what_stands() -> None:
    braked = heron_with(grip_static=1.5, brake_N=40.0)
    assert braked.limits["held"][-1] == 1.0


def test_shares_add_to_one_for_both() -> None:
    forecast, _ = predict_run(run_of(sheet()), STARTS, samples=16)
    for one in forecast.machines.values():
        assert tuple(one.limits) == LIMITS
        np.testing.assert_allclose(sum(one.limits.values()), 1.0)
    uncertain = forecast.machines["heron"].limits["grip"]
    assert np.any((uncertain > 0) & (uncertain < 1))


def test_a_table_says_nothing_of_limits() -> None:
    from matchvision.records.sheet import ForecastCurve

    t_s = np.array([0.0, 3.0])
    curve = ForecastCurve({"t_s": t_s, "position_m": np.array([0.0, 0.2])})
    forecast, _ = predict_run(run_of(sheet(), curves={"plover": curve}), STARTS)
    assert forecast.machines["plover"].limits == {}
    assert forecast.win_chance["plover"] == pytest.approx(1.0)
