"""One source's tension with its whole uncertainty budget, from a model and its inputs."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.records.pull import BudgetLine, ErrorPart, PullSource
from matchvision.uncertainty import BENDING, Effect, Input, Model, propagate_inputs, root_sum

Numbers = float | FloatArray

#: The draws that check a budget are the same in every run, so that one clip has one answer.
_SEED: Final = 101


def assemble_source(
    source: str,
    model: Model,
    inputs: Sequence[Input],
    exact: Mapping[str, Numbers],
    slack: BoolArray,
    *,
    independent: bool,
) -> PullSource:
    """The tension that a model gives, 0 N where the rope is slack, with the budget at its greatest.

    A slack rope's 0 N has only the errors that are new in every frame: what the source could have shown without being
    noticed. Where the source cannot say how large they are in such a frame, they are as in its usual one.

    Parameters
    ----------
    model : see `matchvision.uncertainty.propagate_inputs`.
    slack : (n,) bool array
    """
    n = len(slack)
    found = propagate_inputs(
        model, inputs, exact, n, lambda value: _greatest(np.where(slack, np.nan, value)), np.random.default_rng(_SEED)
    )
    tension_N = np.where(slack, 0.0, found.value)
    effects = [_while_slack(effect, slack) for effect in found.effects]
    budget: tuple[BudgetLine, ...] = ()
    peak = _greatest(tension_N)
    if peak is not None:
        by_name = {item.name: item for item in inputs}
        lines = [_line(effect, by_name.get(effect.name), peak) for effect in effects if effect.effect[peak] != 0]
        budget = tuple(sorted(lines, key=lambda line: -line.u))
    return PullSource(
        source,
        tension_N,
        np.where(np.isfinite(tension_N), root_sum(effects, n), np.nan),
        np.where(np.isfinite(tension_N), root_sum(effects, n, common=True), np.nan),
        independent,
        budget,
        tuple(ErrorPart(_own_name(effect.name, source), effect.effect, effect.common) for effect in effects),
        found.degrees,
    )


def _greatest(values: FloatArray) -> int | None:
    return int(np.nanargmax(values)) if np.isfinite(values).any() else None


def _own_name(name: str, source: str) -> str:
    """What bends in one source's model says nothing about another's."""
    return f"{name} ({source})" if name == BENDING else name


def _while_slack(effect: Effect, slack: BoolArray) -> Effect:
    known = np.isfinite(effect.effect)
    usual = float(np.median(np.abs(effect.effect[known]))) if known.any() else 0.0
    in_slack = 0.0 if effect.common else np.where(known, effect.effect, usual)
    return Effect(effect.name, np.where(slack, in_slack, effect.effect), effect.common)


def _line(effect: Effect, item: Input | None, peak: int) -> BudgetLine:
    change_N = float(effect.effect[peak])
    if item is None:
        return BudgetLine(effect.name, abs(change_N), "N", effect.common)
    value, u = (
        float(np.broadcast_to(np.asarray(number, dtype=np.float64), effect.effect.shape)[peak])
        for number in (item.value, item.u)
    )
    return BudgetLine(
        effect.name,
        abs(change_N),
        "N",
        effect.common,
        value=value,
        u_value=abs(u),
        value_unit=item.unit,
        sensitivity=change_N / u if u != 0 else float("nan"),
    )
