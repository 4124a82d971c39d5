"""What an explanation makes of a run: each measured quantity beside the forecast's and the explanation's."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.machine import MatchModel
from matchvision.records.results import ExplainedCurve
from matchvision.verdict.causes.refits.observing import Observed
from matchvision.verdict.causes.refits.playing import Forecasted, player
from matchvision.verdict.causes.weighing import Weighed

_UNITS: Final = {"speed": "m/s", "surface": "m/s", "heading": "°", "tension": "N"}


def show_explained(
    forecasted: Forecasted, logged: Forecasted | None, observed: Observed, leading: Weighed
) -> tuple[ExplainedCurve, ...]:
    """Every quantity that the causes were weighed by: measured, forecast, and as the leading explanation has it.

    Parameters
    ----------
    forecasted, logged : Forecasted
        The forecast's match, and the same with the commands as they were logged (None: none were).
    observed : Observed
        The measured run.
    leading : Weighed
        The explanation that is shown; "unexplained" has no curves of its own.

    Notes
    -----
    Checked by: tests/verdict/causes/test_picturing.py::test_the_explained_curve_lies_on_the_measured_one
    """
    play = player(forecasted, observed)
    planned = play(forecasted.match(np.zeros(forecasted.numbers)))
    told = None if logged is None else play(logged.match(np.zeros(logged.numbers)))
    model = explained_match(forecasted, logged, leading)
    explained = None if model is None else play(model)
    curves = []
    for k, series in enumerate(observed.series):
        curves.append(
            ExplainedCurve(
                quantity="pull" if series.what == "tension" else series.what,
                machine=series.machine,
                side=("left", "right")[series.side] if series.what == "surface" else "",
                unit=_UNITS[series.what],
                scale=series.scale,
                t_s=observed.t_s,
                measured=series.values,
                u_measured=series.u,
                forecast=planned[k],
                explained=_known(explained, k),
                logged=_known(told, k),
            )
        )
    return tuple(curves)


def explained_match(forecasted: Forecasted, logged: Forecasted | None, leading: Weighed) -> MatchModel | None:
    """The match with an explanation's change at its most probable numbers; None for what is not explained."""
    if leading.cause == "unexplained":
        return None
    # Explanations start from the commands as logged; "as predicted" and a hand that did just anything from the plan.
    planned = leading.cause == "as-predicted" or (leading.cause == "touched" and leading.beside is None)
    begun = forecasted if planned else logged or forecasted
    z, used = leading.fit.z, begun.numbers
    model = begun.match(z[:used])
    for one in (leading, leading.beside):
        if one is None or one.explanation is None:
            continue
        sized = one.explanation.has_size
        model = one.explanation.change(model, float(z[used]) if sized else 0.0, one.at)
        used += int(sized) + len(one.at)
    return model


def _known(played: Sequence[FloatArray] | None, k: int) -> FloatArray | None:
    """A computed series; None where it could not be computed."""
    return played[k] if played is not None and np.isfinite(played[k]).any() else None
