"""What an explanation makes of a run, on a run that a known change was computed into."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import demo_scene
from matchvision.records.sheet import Run, StartPose
from matchvision.verdict.causes.picturing import explained_match, show_explained
from matchvision.verdict.causes.reasoning import as_logged, forecast_of
from matchvision.verdict.causes.refits.observing import Observed, Series
from matchvision.verdict.causes.refits.playing import Forecasted, player
from matchvision.verdict.causes.refits.refitting import Refit
from matchvision.verdict.causes.search.explaining import explain
from matchvision.verdict.causes.weighing import Weighed
from tests.filmed_points import film_points

SIZE, SINCE_S = 0.4, 1.0


@pytest.fixture(scope="module")
def known() -> tuple[Forecasted, Observed, Weighed, Run]:
    """A forecast's match in which heron loses drive, and that very match as if it had been measured."""
    run = film_points(demo_scene(1), np.random.default_rng(1)).run
    stand = {"heron": (-0.62, 180.0), "plover": (0.62, 0.0)}
    starts = {name: StartPose(at_m=(x, 0.0), heading_deg=way) for name, (x, way) in stand.items()}
    forecasted = forecast_of(run, starts, 4.0)
    zero = np.zeros(forecasted.numbers)
    model = forecasted.match(zero)
    loss = next(
        e
        for e in explain(model, (), 4.0, [(-1.0, 1.0)] * 2, [None] * 2)
        if (e.cause, e.machine, e.detail) == ("drive-loss", "heron", "")
    )
    t_s = np.arange(0.05, 4.0, 0.1)
    empty = np.full(len(t_s), np.nan)
    series = tuple(Series("speed", name, 0, empty, empty, 0.1) for name in forecasted.names)
    shape = Observed(t_s, (*series, Series("tension", "", 0, empty, empty, 10.0)))
    played = player(forecasted, shape)(loss.change(model, SIZE, (SINCE_S,)))
    measured = tuple(
        replace(one, values=values, u=np.full(len(t_s), 1e-3)) for one, values in zip(shape.series, played, strict=True)
    )
    fit = Refit(np.append(zero, [SIZE, 0.0]), np.eye(len(zero) + 2), 0.0, 0.0, ())
    leading = Weighed("drive-loss", loss, 1.0, loss.size_of(SIZE), 0.01, (SINCE_S,), (0.01,), fit)
    return forecasted, Observed(t_s, measured), leading, run


def test_the_explained_curve_lies_on_the_measured_one(known: tuple[Forecasted, Observed, Weighed, Run]) -> None:
    forecasted, observed, leading, _ = known
    curves = show_explained(forecasted, None, observed, leading)
    assert [(curve.quantity, curve.machine, curve.unit) for curve in curves] == [
        *(("speed", name, "m/s") for name in forecasted.names),
        ("pull", "", "N"),
    ]
    for curve in curves:
        assert curve.logged is None
        assert curve.explained is not None
        np.testing.assert_allclose(curve.explained, curve.measured, atol=1e-9, equal_nan=True)
    before, after = observed.t_s < SINCE_S - 0.1, observed.t_s > SINCE_S + 0.5
    off = np.abs(curves[0].forecast - curves[0].measured)
    assert np.nanmax(off[before]) < 1e-3 < 5e-3 < np.nanmax(off[after])


def test_two_causes_are_both_at_work(known: tuple[Forecasted, Observed, Weighed, Run]) -> None:
    forecasted, _, leading, _ = known
    both = replace(leading, fit=replace(leading.fit, z=np.append(leading.fit.z, [SIZE, 0.0])), beside=leading)
    model = explained_match(forecasted, None, both)
    alone = explained_match(forecasted, None, leading)
    assert model is not None
    assert alone is not None
    assert model.machines[0].changes == alone.machines[0].changes


def test_the_unexplained_has_no_curve_and_logged_commands_have_their_own(
    known: tuple[Forecasted, Observed, Weighed, Run],
) -> None:
    forecasted, observed, leading, run = known
    nothing = replace(leading, cause="unexplained", explanation=None)
    logged = replace(run, commands={"heron": np.array([[0.0, 0.0], [0.5, 0.3]])})
    told = Forecasted(as_logged(logged), forecasted.names, forecasted.starts, forecasted.stated)
    curves = show_explained(forecasted, told, observed, nothing)
    assert all(curve.explained is None for curve in curves)
    assert curves[0].logged is not None
    assert np.nanmax(np.abs(curves[0].logged - curves[0].forecast)) > 5e-3
