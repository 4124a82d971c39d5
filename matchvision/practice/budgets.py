"""From a model of a number, its inputs and its scatter to the number with its whole budget."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.practice import PracticeParameter
from matchvision.records.pull import BudgetLine
from matchvision.uncertainty import coverage_factor, effective_degrees

Numbers = float | FloatArray


@dataclass(frozen=True, eq=False)
class Known:
    """An input that is known from elsewhere: its error is the same all along the run. A series or a number."""

    name: str
    value: Numbers
    u: Numbers
    unit: str


@dataclass(frozen=True)
class Part:
    """What one thing adds to the standard uncertainty of a result, with its degrees of freedom."""

    name: str
    u: float
    degrees: float = math.inf
    value: float = math.nan
    u_value: float = math.nan
    value_unit: str = ""
    sensitivity: float = math.nan


def parts_of(model: Callable[[Mapping[str, Numbers]], float], inputs: Sequence[Known]) -> list[Part]:
    """What each input adds: ``|f(x + u) − f(x − u)| / 2``, one at a time (JCGM 100:2008, 5.1.3 note 2)."""
    values: dict[str, Numbers] = {i.name: i.value for i in inputs}
    parts = []
    for known in inputs:
        if not np.any(np.asarray(known.u) > 0):
            continue
        ahead = model({**values, known.name: known.value + np.asarray(known.u)})
        behind = model({**values, known.name: known.value - np.asarray(known.u)})
        change = (ahead - behind) / 2
        value, u_value = (float(np.nanmean(np.asarray(number))) for number in (known.value, known.u))
        parts.append(Part(known.name, abs(change), math.inf, value, u_value, known.unit, change / u_value))
    return parts


def weigh(
    key: tuple[str, ...],
    name: str,
    value: float,
    unit: str,
    parts: Sequence[Part],
    how: str,
    span_s: tuple[float, float],
    *,
    takes_u: bool = True,
    stated: bool = True,
) -> PracticeParameter:
    """A parameter with its budget.

    Notes
    -----
    Root sum of squares; effective degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.4.1), Student's
    factor for 95 %.
    """
    each = np.array([part.u for part in parts], dtype=np.float64)
    u = float(np.sqrt(np.sum(each**2)))
    degrees = effective_degrees(each, np.array([part.degrees for part in parts])) if u > 0 else math.inf
    whole = degrees if math.isinf(degrees) else max(1.0, math.floor(degrees))
    lines = tuple(
        BudgetLine(
            part.name, part.u, unit, common=math.isinf(part.degrees), value=part.value, u_value=part.u_value,
            value_unit=part.value_unit, sensitivity=part.sensitivity,
        )
        for part in sorted(parts, key=lambda part: -part.u)
        if part.u > 0
    )  # fmt: skip
    return PracticeParameter(
        key, name, value, unit, u, u * coverage_factor(whole), how, *span_s, lines, degrees, takes_u, stated
    )
