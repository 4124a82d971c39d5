"""The forecast's match as it would be computed with other numbers, and as it would have been measured."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Protocol

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.building import build_match
from matchvision.mechanics.machine import MatchModel
from matchvision.mechanics.match import play_match_quickly
from matchvision.mechanics.stated import Findings, Stated, tied_numbers
from matchvision.records.sheet import Run, StartPose
from matchvision.verdict.causes.refits.altering import scale_inertia, with_machine
from matchvision.verdict.causes.refits.erring import ROUGH_ERROR
from matchvision.verdict.causes.refits.observing import Observed, read_course, reading_times
from matchvision.verdict.causes.refits.operating import operate


class Alterable(Protocol):
    """A match by standard normal numbers, to which something more may be changed."""

    @property
    def numbers(self) -> int:
        """How many numbers `match` takes."""

    @property
    def precision(self) -> FloatArray:
        """Of each number's normal prior (numbers,)."""

    def match(self, z: FloatArray) -> MatchModel:
        """The match with these numbers."""


#: What of a computed match would have been measured.
Play = Callable[[MatchModel], Sequence[FloatArray]]

#: How far [m] a rope that starts taut may be off its stated length at the hitches.
ROPE_SLACK_U_M: Final = 0.003
#: Standard uncertainty of the share of its mean load by which a wheel on one diagonal carries more than on four alike
#: springs: on a stiff frame no balance tells it. A frame that rocks has all of it on one diagonal; in an
#: independent engine, whose wheels are rigid, up to a quarter of a wheel's load moves across once one side slides.
DIAGONAL_U: Final = 0.3
#: Longest step of a computed match [s], or a match's duration over so many: with 0.25 s in a match of 5.5 s what the
#: solver gets wrong beside a corner of the throttle weighs as much as a cause may.
LEAST_STEP_S: Final = 0.05
STEPS_AT_LEAST: Final = 300
#: Spread of ln(true / assumed) of the inertia of wheels, gear and rotors where no sheet states it: a small rotor behind
#: a large reduction may weigh more than the wheels.
INERTIA_RATIO: Final = 1.0


@dataclass(frozen=True, eq=False)
class Forecasted:
    """What the forecast's match is computed from: the sheet, its stated numbers, and where the machines stood.

    ``unplanned``: machines whose operator's plan nobody knows, with the match times [s] by which it is guessed.
    """

    run: Run
    names: tuple[str, ...]
    starts: Mapping[str, StartPose]
    stated: Mapping[str, Stated]
    unplanned: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def free(self) -> tuple[str, ...]:
        """Keys of the numbers that are uncertain and stand for themselves."""
        tied = tied_numbers(self.stated)
        return tuple(key for key, number in self.stated.items() if number.u > 0 and key not in tied)

    def match(self, z: FloatArray) -> MatchModel:
        """The match with its uncertain numbers moved by ``z`` standard uncertainties.

        After the stated ones come the inertias that nobody stated, by machine, the rope's slack, how each machine's
        wheels share their load across the diagonal, and what unknown operators gave, by machine and time.
        """
        values = {key: number.value for key, number in self.stated.items()}
        for key, step in zip(self.free(), z, strict=False):
            number = self.stated[key]
            values[key] = float(np.clip(number.value + number.u * step, 0.05 * abs(number.value), number.highest))
        values.update({key: values[leader] for key, leader in tied_numbers(self.stated).items()})
        model = build_match(self.run, self.names, self.starts, values, Findings())
        used = len(self.free())
        for k, name in enumerate(self.names):
            if name in self.unstated_inertia():
                model = scale_inertia(model, k, float(np.exp(INERTIA_RATIO * z[used])))
                used += 1
        if model.rope is not None:
            length_m = model.rope.length_m + ROPE_SLACK_U_M * float(z[used])
            model = replace(model, rope=replace(model.rope, length_m=length_m))
        used += 1
        for k in range(len(self.names)):
            model = with_machine(model, k, diagonal_ratio=DIAGONAL_U * float(z[used]))
            used += 1
        for name, times_s in self.unplanned.items():
            model = operate(model, self.names.index(name), times_s, z[used : used + len(times_s)])
            used += len(times_s)
        return model

    @property
    def numbers(self) -> int:
        """How many standard normal numbers `match` takes."""
        guessed = sum(len(times_s) for times_s in self.unplanned.values())
        return len(self.free()) + len(self.unstated_inertia()) + 1 + len(self.names) + guessed

    @property
    def precision(self) -> FloatArray:
        """Of each number's normal prior: 1."""
        return np.ones(self.numbers)

    @property
    def least_error(self) -> float:
        """The least that such a match gets wrong, as a share of each quantity's size."""
        dragged = any(self.run.sheet.machine[name].load is not None for name in self.names)
        return ROUGH_ERROR if self.unplanned or dragged else 0.0

    def unstated_inertia(self) -> tuple[str, ...]:
        """Machines whose wheels' inertia stands in no sheet."""
        stated = [key for key in self.stated if key.endswith("wheel_inertia_kg_m2")]
        return tuple(n for n in self.names if not any(f".{n}." in key for key in stated))


def player(forecasted: Forecasted, observed: Observed) -> Play:
    """Computes a match and reads it as the measured run was read; all NaN where it cannot be computed."""
    times_s = reading_times(observed)
    sheet = forecasted.run.sheet
    homes = {name: 1.0 if sheet.machine[name].home == "+x" else -1.0 for name in forecasted.names}
    longest_s = max(LEAST_STEP_S, float(times_s[-1]) / STEPS_AT_LEAST)
    nothing = tuple(np.full(len(observed.t_s), np.nan) for _ in observed.series)

    def play(model: MatchModel) -> Sequence[FloatArray]:
        radii = {machine.name: machine.wheel_radius_m for machine in model.machines}
        try:
            return read_course(
                observed, play_match_quickly(model, times_s, longest_s=longest_s), forecasted.names, homes, radii
            )
        except CannotMeasure:
            return nothing

    return play
