"""A drive that lists its stages is forecast as one that states their products."""

from math import hypot
from typing import Any

import numpy as np

from matchvision.forecast import predict_run
from matchvision.forecast.stages import tell_stages
from matchvision.records.sheet import RunSheet
from tests.forecast.test_predicting import STARTS, drive, run_of, sheet

#: All products are exact in binary: a last digit that differs would turn the solver's steps elsewhere.
STAGES = (
    {"kind": "gear", "ratio": 59, "efficiency": {"value": 0.75, "u": 1 / 64}},
    {"kind": "belt", "ratio": {"value": 4, "u": 0.125}, "efficiency": {"value": 0.9375, "u": 1 / 32}},
)
TOTALS = {
    "gear_ratio": {"value": 236, "u": 59 * 0.125},
    "drive_efficiency": {"value": 0.703125, "u": hypot(0.9375 / 64, 0.75 / 32)},
}


def of_heron(**numbers: Any) -> dict[str, Any]:
    kept = {key: value for key, value in drive().items() if key not in TOTALS}
    return sheet(forecast={"heron": {**kept, **numbers}, "plover": drive(0.0042)})


def test_forecast_is_that_of_the_products() -> None:
    listed, _ = predict_run(run_of(of_heron(stage=STAGES)), STARTS, samples=16)
    stated, _ = predict_run(run_of(of_heron(**TOTALS)), STARTS, samples=16)
    assert listed.win_chance == stated.win_chance
    np.testing.assert_array_equal(listed.tension_N, stated.tension_N)
    np.testing.assert_array_equal(listed.u_tension_N, stated.u_tension_N)
    assert listed.u_tension_N.max() > 0


def test_stages_of_both_sides_are_those_of_the_whole() -> None:
    exact = (
        {"kind": "gear", "ratio": 59, "efficiency": 0.75},
        {"kind": "belt", "ratio": 4, "efficiency": 0.9375},
    )
    apart, _ = predict_run(run_of(of_heron(left={"stage": exact}, right={"stage": exact})), STARTS, samples=16)
    whole, _ = predict_run(run_of(of_heron(stage=exact)), STARTS, samples=16)
    np.testing.assert_array_equal(apart.tension_N, whole.tension_N)
    told = list(tell_stages(run_of(of_heron(left={"stage": STAGES}, right={"stage": STAGES})), "heron"))
    assert [line.partition(":")[0] for line in told] == ["heron, left wheels", "heron, right wheels"]


def test_totals_of_the_stages_are_told() -> None:
    forecast, note = predict_run(run_of(of_heron(stage=STAGES)), STARTS, samples=16)
    told = (
        "heron: gear ratio 236 ± 14 and efficiency 0.703 ± 0.054 from 2 stages (gear, belt), their numbers independent "
        "of each other"
    )
    assert told in forecast.assumed
    assert told in note.sentence
    assert not any("drive_efficiency is not stated" in line for line in forecast.assumed if "heron" in line)


def test_sheets_are_written_as_they_were_stated() -> None:
    run = run_of(of_heron(stage=STAGES))
    written = run.sheet.forecast["heron"].model_dump(exclude_defaults=True)
    assert len(written["stage"]) == 2
    assert not TOTALS.keys() & written.keys()
    assert RunSheet.model_validate(run.sheet.model_dump()) == run.sheet
    assert "gear_ratio" in run_of(of_heron(**TOTALS)).sheet.forecast["heron"].model_dump()
