"""Rope tension from each source and each machine's traction."""

import math
from dataclasses import dataclass

from matchvision.arrays import FloatArray


@dataclass(frozen=True)
class BudgetLine:
    """One line of an uncertainty budget at the greatest pull, k = 1.

    ``u`` is what the input adds to the result, in ``unit``. ``value``, ``u_value`` and ``value_unit`` are the input
    itself, ``sensitivity`` the result's change for one unit of it: ``u = |sensitivity| · u_value``. They are NaN where
    a line has no single input. ``common``: the same error in all frames, so that it does not average out.
    """

    name: str
    u: float
    unit: str
    common: bool
    value: float = math.nan
    u_value: float = math.nan
    value_unit: str = ""
    sensitivity: float = math.nan


@dataclass(frozen=True, eq=False)
class ErrorPart:
    """What one input's standard uncertainty does to a tension, (n,) with its sign; 0 where it does nothing.

    Sources that name the same input share its error.
    """

    name: str
    effect_N: FloatArray
    common: bool


@dataclass(frozen=True, eq=False)
class PullSource:
    """Tension from one source, (n,) arrays on the frames; NaN where the source says nothing.

    Attributes
    ----------
    source : "link", "stretch", "inertia", "momentum", "drive" or "fused".
    tension_N, u_tension_N : value and combined standard uncertainty.
    u_common_N : the part of ``u_tension_N`` that is common to all frames.
    independent : False where it leans on numbers that only the forecast has; kept out of comparison and causes.
    budget : at the frame of greatest tension, largest contribution first.
    parts : the errors that make up ``u_tension_N``, by input; empty where they are not told apart.
    degrees : effective degrees of freedom of the budget.
    """

    source: str
    tension_N: FloatArray
    u_tension_N: FloatArray
    u_common_N: FloatArray
    independent: bool
    budget: tuple[BudgetLine, ...]
    parts: tuple[ErrorPart, ...] = ()
    degrees: float = math.inf


@dataclass(frozen=True, eq=False)
class Traction:
    """One machine's traction, (n,) arrays.

    ``traction_N`` is gross, along the drive direction; ``load_N`` the dynamic normal load on the driven wheels;
    ``grip_used`` their ratio.
    """

    machine: str
    traction_N: FloatArray
    load_N: FloatArray
    grip_used: FloatArray
    u_traction_N: FloatArray
    u_load_N: FloatArray
    u_grip_used: FloatArray


@dataclass(frozen=True, eq=False)
class Pull:
    """All sources and each machine's traction. ``sources`` ends with "fused" where there is any source.

    ``disagreement`` holds a sentence where sources contradict each other, and ``left_out`` one for each source that
    the footage or the sheet cannot support, saying what would give it.
    """

    sources: tuple[PullSource, ...]
    traction: tuple[Traction, ...]
    disagreement: tuple[str, ...]
    left_out: tuple[str, ...]

    def source(self, name: str) -> PullSource | None:
        """The source of that name, or None."""
        return next((s for s in self.sources if s.source == name), None)
