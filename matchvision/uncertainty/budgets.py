"""Uncertainty budgets: what each input adds to a model's result, frame by frame, and whether first order is enough."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.uncertainty.propagation import (
    coverage_factor,
    effective_degrees,
    first_order_bends,
    parts_of_uncertainty,
    simulate,
)

Numbers = float | FloatArray
Model = Callable[[Mapping[str, Numbers]], FloatArray]

#: Draws by which the frame of the budget is checked: their 2.5 % quantile is good to 1 % of the interval.
CHECKING_DRAWS: Final = 20_000
#: Draws in every frame where the model bends: u to 2 %.
DRAWS: Final = 2_000
#: So many frames at once, which bounds the memory that the draws take.
_FRAMES_AT_ONCE: Final = 256
#: Name of what the first order leaves out.
BENDING: Final = "bending of the law, beyond first order"


@dataclass(frozen=True, eq=False)
class Input:
    """One uncertain input of a model: a number, or an (n,) array on the frames.

    Attributes
    ----------
    name : unique among all that may share this error; sources that name the same input share it.
    value, u : estimate and standard uncertainty.
    unit : unit of both.
    common : whether its error is the same in all frames.
    rectangular : whether its distribution is rectangular, else normal.
    degrees : degrees of freedom of ``u``.
    """

    name: str
    value: Numbers
    u: Numbers
    unit: str
    common: bool = True
    rectangular: bool = False
    degrees: float = math.inf


@dataclass(frozen=True, eq=False)
class Effect:
    """What one input's standard uncertainty does to the result in each frame, (n,), with its sign."""

    name: str
    effect: FloatArray
    common: bool


@dataclass(frozen=True, eq=False)
class Propagated:
    """A model's values (n,), what each input does to them, and what was found at the budget's frame.

    ``degrees`` are effective ones there; ``bends`` says that the first order was not enough there, and that `BENDING`
    stands among the effects.
    """

    value: FloatArray
    effects: tuple[Effect, ...]
    degrees: float
    bends: bool

    @property
    def u(self) -> FloatArray:
        """Combined standard uncertainty (n,)."""
        return root_sum(self.effects, len(self.value))


def root_sum(effects: Sequence[Effect], n: int, *, common: bool | None = None) -> FloatArray:
    """Root of the sum of squared effects (n,): of all, or only of those that are common to all frames or not."""
    chosen = [e.effect for e in effects if common is None or e.common == common]
    return np.asarray(np.sqrt(np.sum(np.square(chosen), axis=0))) if chosen else np.zeros(n)


def propagate_inputs(
    model: Model,
    inputs: Sequence[Input],
    exact: Mapping[str, Numbers],
    n: int,
    at: Callable[[FloatArray], int | None],
    generator: np.random.Generator,
) -> Propagated:
    """Values of a model on n frames with each input's effect, checked by Monte Carlo at one frame.

    Parameters
    ----------
    model : function of the named values, frame by frame and without any other memory of the frames
    inputs : independent inputs
    exact : further named values, taken as exact
    at : picks the budget's frame from the values (n,); None where there is none

    Notes
    -----
    Effect of an input: ``(f(x + u) − f(x − u))/2``, JCGM 100:2008, 5.1.3 note 2. At the budget's frame whole
    distributions are propagated as well (JCGM 101:2008, 7); where the first order misses their interval (8.1), they
    are so in every frame, and what their root mean square about the value has beyond the first order becomes an effect
    of its own.
    Checked by: tests/published/test_gum.py::test_h1_end_gauge,
    tests/published/test_gum_monte_carlo.py::test_mass_calibration_bends
    """
    uncertain = [i for i in inputs if np.any(np.asarray(i.u) != 0)]
    values: dict[str, Numbers] = {**exact, **{i.name: i.value for i in inputs}}
    value = np.broadcast_to(np.asarray(model(values), dtype=np.float64), (n,)).copy()
    parts = parts_of_uncertainty(model, values, {i.name: i.u for i in uncertain})
    effects = [Effect(i.name, np.broadcast_to(parts[i.name], (n,)), i.common) for i in uncertain]
    frame = at(value)
    if frame is None or not effects:
        return Propagated(value, tuple(effects), math.inf, bends=False)
    there = np.array([e.effect[frame] for e in effects])
    degrees = effective_degrees(there, np.array([i.degrees for i in uncertain]))
    first_u = float(np.sqrt(np.sum(there**2)))
    if not math.isfinite(first_u):
        return Propagated(value, tuple(effects), degrees, bends=False)
    fixed = {name: _at(number, frame) for name, number in values.items()}

    def drawn(draws: FloatArray) -> FloatArray:
        moved = {item.name: draws[:, k] for k, item in enumerate(uncertain)}
        return model({**fixed, **moved})

    def draw(g: np.random.Generator, samples: int) -> FloatArray:
        return np.stack([_at(i.value, frame) + _at(i.u, frame) * _units(i, g, (samples,)) for i in uncertain], axis=1)

    checked = simulate(drawn, draw, generator, samples=CHECKING_DRAWS)
    bends = first_order_bends(float(value[frame]), first_u, checked, digits=1)
    if bends:
        whole = _scatter_by_draws(model, uncertain, values, value, generator)
        beyond = np.sqrt(np.maximum(whole**2 - root_sum(effects, n) ** 2, 0.0))
        beyond[frame] = math.sqrt(max(checked.u**2 + (checked.value - float(value[frame])) ** 2 - first_u**2, 0.0))
        effects.append(Effect(BENDING, beyond, common=True))
    return Propagated(value, tuple(effects), degrees, bends)


def expand(u: float, degrees: float, coverage: float = 0.95) -> float:
    """Half width of the interval of that coverage: u times the factor of its effective degrees of freedom.

    Notes
    -----
    JCGM 100:2008, G.4.1; degrees of freedom are cut to whole ones.
    Checked by: tests/published/test_gum.py::test_h1_expanded_uncertainty
    """
    whole = degrees if math.isinf(degrees) else max(1.0, math.floor(degrees))
    return u * coverage_factor(whole, coverage)


def _scatter_by_draws(
    model: Model,
    inputs: Sequence[Input],
    values: Mapping[str, Numbers],
    value: FloatArray,
    generator: np.random.Generator,
) -> FloatArray:
    """Root mean square (n,) of the model about its values, from draws of all inputs."""
    n = len(value)
    shared = {i.name: _units(i, generator, (DRAWS, 1)) for i in inputs if i.common}
    out = np.full(n, np.nan)
    for start in range(0, n, _FRAMES_AT_ONCE):
        rows = slice(start, min(start + _FRAMES_AT_ONCE, n))
        size = (DRAWS, rows.stop - rows.start)
        drawn: dict[str, Numbers] = {name: _at(number, rows) for name, number in values.items()}
        for item in inputs:
            units = shared[item.name] if item.common else _units(item, generator, size)
            drawn[item.name] = _at(item.value, rows) + _at(item.u, rows) * units
        away = np.broadcast_to(model(drawn), size) - value[rows]
        out[rows] = np.sqrt(np.mean(away**2, axis=0))
    return out


def _units(item: Input, generator: np.random.Generator, size: tuple[int, ...]) -> FloatArray:
    """Draws of an input's error over its standard uncertainty."""
    if item.rectangular:
        return np.asarray(generator.uniform(-math.sqrt(3), math.sqrt(3), size))
    return np.asarray(generator.standard_normal(size))


def _at(number: Numbers, where: int | slice) -> FloatArray:
    """A number's value in one frame or in some; a plain number is the same in all."""
    array = np.asarray(number, dtype=np.float64)
    return array if array.ndim == 0 else np.asarray(array[where])
