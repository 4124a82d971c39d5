"""Runs held side by side, quantity by quantity."""

import math

import numpy as np

from matchvision.records.repeats import Reading
from matchvision.repeats import compare_readings


def readings(values: list[float], u: float = 0.1, quantity: str = "mean pull", better: int = 1) -> list[Reading]:
    return [Reading(f"run {k}", "heron", quantity, "N", value, u, better) for k, value in enumerate(values)]


def test_a_change_that_is_there_is_found() -> None:
    draw = np.random.default_rng(3)
    before, after = draw.normal(10, 0.3, 4).tolist(), draw.normal(12, 0.3, 4).tolist()
    (row,) = compare_readings([readings(before), readings(after)])
    assert row.change is not None
    assert row.change.low < 2 < row.change.high
    assert row.change.chance_more > 0.99
    assert row.degrees == 6
    assert math.isfinite(row.seen)


def test_an_odd_run_is_named_and_still_counted() -> None:
    values = [10.0, 10.1, 9.9, 10.05, 9.95, 14.0]
    (row,) = compare_readings([readings(values)])
    (odd,) = row.groups[0].stragglers
    assert (odd.run, odd.word) == ("run 5", "outlier")
    assert row.groups[0].mean == np.mean(values)


def test_quantities_that_a_side_lacks_are_not_compared() -> None:
    before = [*readings([1.0, 2.0]), *readings([3.0], quantity="first slip")]
    rows = compare_readings([before, readings([2.0, 3.0])])
    assert [row.quantity for row in rows] == ["mean pull"]


def test_single_runs_give_no_interval() -> None:
    (row,) = compare_readings([readings([1.0]), readings([2.0])])
    assert row.change is None
    assert math.isnan(row.s_r)
    assert math.isnan(row.seen)
