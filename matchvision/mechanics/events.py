"""Transitions of a computed match, located on the solver's own curve between its steps."""

from collections.abc import Callable
from typing import Final

import numpy as np
from scipy.optimize import brentq

from matchvision.arrays import FloatArray
from matchvision.mechanics import layout as at
from matchvision.mechanics.layout import MatchNumbers
from matchvision.mechanics.machine import MatchModel
from matchvision.mechanics.stepping import results_along

#: What happened ("taut", "slack", "slip", "grip"), to which machine ("" for the rope), and when [s].
Event = tuple[str, str, float]

#: Every step is looked through at this many places: a solver's polynomial of order 5 turns no oftener.
_LOOKS: Final = 6


def locate_events(
    model: MatchModel,
    numbers: MatchNumbers,
    steps_s: FloatArray,
    dense: Callable[[FloatArray], FloatArray],
    slips_at_m_s: float,
) -> list[Event]:
    """Events between the solver's steps (n,) [s], from its dense output ``dense`` (times (k,) to states (20, k)).

    A wheel slips where its slip speed is beyond ``slips_at_m_s``, either way.

    Notes
    -----
    A change of sign between neighbouring looks is a crossing, refined by Brent's method. Looks stand in every step that
    the solver took, so that none depends on the times at which the match is wanted.
    Checked by: tests/mechanics/test_events.py::test_transitions_do_not_move_with_the_output_step
    """
    parts = np.arange(_LOOKS) / _LOOKS
    looks_s = np.append((steps_s[:-1, None] + parts * np.diff(steps_s)[:, None]).ravel(), steps_s[-1])
    results = results_along(looks_s, np.ascontiguousarray(dense(looks_s).T), numbers)
    out: list[Event] = []
    watched: list[tuple[int, str, str, str]] = []
    if model.rope is not None and len(model.machines) == 2:
        watched.append((at.STRETCH, "taut", "slack", ""))
    for k, machine in enumerate(model.machines):
        if machine.left is not None:
            watched.append((at.RESULTS_0 + at.RESULTS * k + at.SLIP, "slip", "grip", machine.name))
    for column, up, down, name in watched:
        values = results[:, column] if name == "" else np.abs(results[:, column]) - slips_at_m_s

        def excess(time_s: float, column: int = column, name: str = name) -> float:
            row = results_along(np.array([time_s]), np.ascontiguousarray(dense(np.array([time_s])).T), numbers)[0]
            return float(row[column] if name == "" else abs(row[column]) - slips_at_m_s)

        for row in np.flatnonzero((values[:-1] > 0) != (values[1:] > 0)):
            low, high = float(looks_s[row]), float(looks_s[row + 1])
            crossing = high if excess(high) == 0.0 else float(brentq(excess, low, high, xtol=1e-9))
            out.append((up if values[row + 1] > 0 else down, name, crossing))
    return out


def lasting_slip_s(events: tuple[Event, ...], machine: str, until_s: float, lasts_s: float) -> float:
    """Time [s] of the first slip that lasts, from located events; NaN without any. Slip may go on to ``until_s``."""
    since = float("nan")
    for word, name, time_s in events:
        if name != machine:
            continue
        if word == "slip":
            since = time_s
        elif word == "grip":
            if time_s - since >= lasts_s:
                return since
            since = float("nan")
    return since if until_s - since >= lasts_s else float("nan")
