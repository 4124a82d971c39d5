"""The predicted run of a sample clip against the exact truth of the physics engine behind it.

Given the true numbers (grip, mass, motor line, throttle as it was given) the predicted run must be the filmed one.
Given the team's numbers, some of them off, its bands must hold it.
Tolerances: tension 4 % of its peak (rms), onset of slip 80 ms, places 4 % of the travel: the filmed machine's wheels
creep by 2 to 4 mm/s while they grip, which alone makes 10 mm before it loses its grip.
"""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from matchvision.forecast import predict_run
from matchvision.records.forecast import ForecastRun
from matchvision.records.sheet import Forecast, Quantity, Run, StartPose
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, read_truth_facts

FloatArray = npt.NDArray[np.float64]
CLIPS: Final = ("flat-match", "hand-held")


def start_poses(run: Run, truth: pd.DataFrame) -> dict[str, StartPose]:
    row = truth.iloc[(truth["pts_s"] - (run.sheet.clock.start_s or 0.0)).abs().argmin()]
    return {
        name: StartPose(at_m=(row[f"{name}_pos_x"], row[f"{name}_pos_y"]), heading_deg=row[f"{name}_heading_deg"])
        for name in run.sheet.machine
    }


def with_true_numbers(run: Run, facts: dict[str, dict[str, dict[str, float]]]) -> Run:
    """The run with each forecast's grip set to what it really was, without doubt; all else in it is true already."""
    forecasts: dict[str, Forecast] = {}
    for name, forecast in run.sheet.forecast.items():
        numbers = {key: value for key, value in forecast if isinstance(value, Quantity)}
        sure = {key: Quantity(value=number.value) for key, number in numbers.items()}
        grip = Quantity(value=facts["machines"][name]["friction_mu"])
        forecasts[name] = forecast.model_copy(update={**sure, "grip_static": grip, "grip_sliding": grip})
    sheet = run.sheet.model_copy(update={"forecast": forecasts})
    return Run(sheet=sheet, folder=run.folder, hang_test=run.hang_test)


def at_rows(forecast: ForecastRun, run: Run, truth: pd.DataFrame, column: str) -> FloatArray:
    """A truth column at the forecast's times."""
    clip_s = forecast.t_s + (run.sheet.clock.start_s or 0.0)
    values = truth[column].to_numpy(float)
    if column.endswith("_deg"):
        values = np.unwrap(values, period=360)
    return np.asarray(np.interp(clip_s, truth["pts_s"].to_numpy(float), values), dtype=np.float64)


@pytest.mark.parametrize("clip", CLIPS)
def test_true_numbers_give_the_filmed_match(clip: str) -> None:
    folder = SAMPLE_CLIPS / clip
    run, truth, facts = read_run(folder), read_truth(folder), read_truth_facts(folder)
    forecast, _ = predict_run(with_true_numbers(run, facts), start_poses(run, truth), samples=1)

    tension_N = at_rows(forecast, run, truth, "tension_N")
    assert np.sqrt(np.mean((forecast.tension_N - tension_N) ** 2)) <= 0.04 * tension_N.max()
    for name, machine in forecast.machines.items():
        x_m = at_rows(forecast, run, truth, f"{name}_pos_x")
        assert np.abs(machine.x_m - x_m).max() <= 0.04 * np.abs(np.diff(x_m)).sum()
        apart_deg = machine.heading_deg - at_rows(forecast, run, truth, f"{name}_heading_deg")
        assert np.abs(apart_deg).max() <= 2.5
        intervals = facts["events"]["slip_intervals_s"][name]
        if intervals:
            assert machine.first_slip_s == pytest.approx(intervals[0][0] - run.sheet.clock.start_s, abs=0.08)
        else:
            assert np.isnan(machine.first_slip_s)
    assert forecast.winner == facts["verdict"]["winner"]
    assert forecast.margin_m == pytest.approx(facts["verdict"]["margin_mm"] / 1000, abs=0.02)


@pytest.mark.parametrize("clip", CLIPS)
def test_bands_from_the_teams_numbers_hold_the_filmed_match(clip: str) -> None:
    folder = SAMPLE_CLIPS / clip
    run, truth, facts = read_run(folder), read_truth(folder), read_truth_facts(folder)
    forecast, _ = predict_run(run, start_poses(run, truth), samples=64)
    assert forecast.winner == facts["verdict"]["winner"]
    assert abs(forecast.margin_m - facts["verdict"]["margin_mm"] / 1000) <= 1.96 * forecast.u_margin_m
    tension_N = at_rows(forecast, run, truth, "tension_N")
    late = forecast.t_s > 4.0
    held = np.abs(forecast.tension_N - tension_N)[late] <= 1.96 * forecast.u_tension_N[late]
    assert held.mean() > 0.9
    assert forecast.machines["heron"].slip_chance > 0.5


def test_load_on_a_link_pulls_as_filmed_until_the_table_turns_rough() -> None:
    folder = SAMPLE_CLIPS / "sled-link"
    run, truth = read_run(folder), read_truth(folder)
    forecast, _ = predict_run(run, start_poses(run, truth), samples=32)
    tension_N = at_rows(forecast, run, truth, "tension_mean_N")
    even = (forecast.t_s > 1.0) & (forecast.t_s < 2.0)
    apart_N = forecast.tension_N[even].mean() - tension_N[even].mean()
    assert abs(apart_N) <= 1.96 * forecast.u_tension_N[even].mean()
    assert forecast.winner == ""
