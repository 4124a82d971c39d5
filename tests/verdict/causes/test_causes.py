"""Causes by refits: engine runs with one known change, and what is said where there is nothing to compute."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.filming import demo_scene
from matchvision.records.sheet import ForecastCurve
from matchvision.verdict.causes.reasoning import as_logged, forecast_of
from matchvision.verdict.causes.search.explaining import lost_of, part_of, ratio_of
from tests.filmed_points import film_points
from tests.verdict.causes.changed_runs import causes_from_points, changed_run


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "seed"), [("as-predicted", 3), ("side-loss", 12), ("wrong-gear", 5), ("less-grip", 5), ("late-start", 5)]
)
def test_true_cause_comes_first(kind: str, seed: int) -> None:
    """The engine shares nothing with the model that is refitted; the whole study is ``python -m benchmarks causes``.

    A machine whose one side has lost its drive turns, which the model gets wrong by a share: that is no second cause.
    """
    changed = changed_run(kind, seed)
    causes = causes_from_points(changed, seed)
    assert (causes[0].cause, causes[0].machine) == (changed.cause, changed.machine)
    assert causes[0].probability > 0.8
    assert sum(row.probability for row in causes) == pytest.approx(1.0, abs=0.05)
    if kind != "as-predicted":
        assert abs(causes[0].estimate - changed.size) < 3 * causes[0].u_estimate
        assert changed.machine in causes[0].statement


def test_sizes_span_their_ranges() -> None:
    z = np.linspace(-4, 4, 33)
    assert [part_of(v) for v in (-8, 8)] == pytest.approx([0.1, 1.0])
    assert [lost_of(v) for v in (-8, 2)] == pytest.approx([0.1, 1.0])
    assert np.all(np.diff([ratio_of(v) for v in z]) > 0)
    assert ratio_of(0.0) == 1.0


def test_logged_command_takes_the_place_of_the_plan() -> None:
    """Two columns of shares count as their mean; who logged nothing keeps the plan."""
    run = film_points(demo_scene(1), np.random.default_rng(1)).run
    logged = np.array([[0.0, 0.0, 0.2], [1.0, 0.5, 0.7]])
    told = as_logged(replace(run, commands={"heron": logged})).sheet.forecast
    assert np.array(told["heron"].throttle) == pytest.approx(np.array([[0.0, 0.1], [1.0, 0.6]]))
    assert told["plover"] == run.sheet.forecast["plover"]


def test_causes_are_refused_where_a_curve_stands_for_the_machines() -> None:
    run = film_points(demo_scene(1), np.random.default_rng(1)).run
    curve = ForecastCurve({"t_s": np.zeros(2)})
    with pytest.raises(CannotMeasure, match="numbers") as refused:
        forecast_of(replace(run, curves={"heron": curve}, folder=Path()), {}, 5.5)
    assert refused.value.do is not None
    assert "forecast" in refused.value.do
