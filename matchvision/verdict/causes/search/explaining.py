"""Competing explanations of a run: what each of them changes in the match that the forecast describes."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from scipy.special import ndtr

from matchvision.mechanics.machine import MachineModel, MatchModel
from matchvision.verdict.causes.refits.altering import scale_drive, with_machine

#: A match with one more thing changed: (match, size of the change as a standard normal number, when or where) → match.
Change = Callable[[MatchModel, float, tuple[float, ...]], MatchModel]

#: A change smaller than this share of what it changes is no cause that anybody could see or would mend.
LEAST_CHANGE: Final = 0.10
#: Most that a rough stretch of table drags more, as a share: felt has 0.2 on varnish, and 1 on coarse sandpaper.
MOST_ROUGHER: Final = 4.0
#: Spread of ln(true / stated) of a gear ratio, mass or torque that is simply wrong.
WRONG_RATIO: Final = 0.35
#: Longest lateness that is thought of [s].
LATEST_S: Final = 3.0
#: Spreads of a rope that is longer than stated and of a hitch that sits aside of where it is stated to be [m].
ROPE_SPREAD_M, ARM_SPREAD_M = 0.05, 0.03


class _Grid(NamedTuple):
    """Times or places to try, and by coordinate their spacing and the range that they span."""

    cells: tuple[tuple[float, ...], ...]
    spacing: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Explanation:
    """One cause with one free size and, where it has one, a time or place from a grid.

    Attributes
    ----------
    cause, machine : as in the table of causes; machine "" where it concerns the rope.
    change : what it makes of a match.
    size_of : from the standard normal number to the size that people read (a share, a ratio, seconds, metres).
    unit : of that size.
    cells : times or places to try first, each a tuple of coordinates; ``(())`` alone where there is none.
    spacing : how far apart they lie, and the range in which they may lie, by coordinate.
    dated : whether the first coordinate is a match time.
    has_size : False where only the time or the place is free.
    none : the size that is no change, of a number that may be off either way; NaN of all that have a least change.
    detail : which part of the machine, for the sentence ("left side", "").
    """

    cause: str
    machine: str
    change: Change
    size_of: Callable[[float], float]
    unit: str
    cells: tuple[tuple[float, ...], ...] = ((),)
    spacing: tuple[tuple[float, float], ...] = ()
    dated: bool = False
    has_size: bool = True
    detail: str = ""
    none: float = math.nan


def part_of(z: float) -> float:
    """A share between the least change and all of it, evenly likely, from a standard normal number."""
    return LEAST_CHANGE + (1.0 - LEAST_CHANGE) * float(ndtr(z))


def lost_of(z: float) -> float:
    """As `part_of`, but one in ten is a total loss: plugs come off and shafts break more often than motors fade."""
    return min(1.0, LEAST_CHANGE + float(ndtr(z)))


def rougher_of(z: float) -> float:
    """How much more a load drags, as a share: from the least change to `MOST_ROUGHER`, its logarithm evenly likely."""
    return LEAST_CHANGE * float((MOST_ROUGHER / LEAST_CHANGE) ** ndtr(z))


def ratio_of(z: float) -> float:
    """A ratio to the stated number, log-normal about 1."""
    return float(np.exp(WRONG_RATIO * z))


def explain(
    model: MatchModel,
    unknown: Sequence[str],
    duration_s: float,
    paths_m: Sequence[tuple[float, float]],
    home_most_m: Sequence[float | None],
) -> tuple[Explanation, ...]:
    """Every explanation that makes sense for a match.

    Parameters
    ----------
    model : the match as forecast.
    unknown : machines whose numbers nobody measured: what is wrong about them is "stronger" or "heavier".
    duration_s : how much of the match was measured.
    paths_m : lowest and highest x over which each machine's wheels went, in the order of the model's machines.
    home_most_m : x of each machine's centre of mass where it came nearest to its home; None where it never stood
        still there, so that nothing can have stopped it.
    """
    step_s = duration_s / 14
    times = _Grid(tuple((float(t),) for t in np.arange(0.5, 13.5) * step_s), ((step_s, duration_s),))
    out: list[Explanation] = []
    for k, machine in enumerate(model.machines):
        out.extend(_of_drive(k, machine, times, machine.name in unknown))
        out.extend(_of_machine(k, machine, times, paths_m[k], home_most_m[k], machine.name in unknown))
    if model.rope is not None:
        out.append(Explanation("hitch-released", "", _release, lambda _: np.nan, "", *times, True, has_size=False))
        out.append(Explanation("rope-longer", "", _lengthen, lambda z: ROPE_SPREAD_M * z, "m", none=0.0))
    return tuple(out)


def _of_drive(k: int, machine: MachineModel, times: _Grid, unknown: bool) -> list[Explanation]:
    if machine.left is None or machine.right is None:
        return []
    name = machine.name

    def lose(model: MatchModel, z: float, at: tuple[float, ...], sides: tuple[bool, bool]) -> MatchModel:
        lost = lost_of(z)
        told = replace(model.machines[k].changes, loss_s=at[0], lost_left=lost * sides[0], lost_right=lost * sides[1])
        return with_machine(model, k, changes=told)

    def loss(sides: tuple[bool, bool]) -> Change:
        return lambda model, z, at: lose(model, z, at, sides)

    def late(model: MatchModel, _: float, at: tuple[float, ...]) -> MatchModel:
        return with_machine(model, k, start_delay_s=model.machines[k].start_delay_s + max(0.0, at[0]))

    def gear(model: MatchModel, z: float, _: tuple[float, ...]) -> MatchModel:
        return scale_drive(model, k, torque=ratio_of(z), rate=1 / ratio_of(z))

    def torque(model: MatchModel, z: float, _: tuple[float, ...]) -> MatchModel:
        return scale_drive(model, k, torque=ratio_of(z), rate=1.0)

    delays = tuple((float(t),) for t in np.arange(0.5, 10.5) * LATEST_S / 10)
    wrong = "opponent-stronger" if unknown else "wrong-efficiency"
    losses = ((True, True), ""), ((True, False), "left side"), ((False, True), "right side")
    return [
        *(Explanation("drive-loss", name, loss(s), lost_of, "1", *times, True, detail=word) for s, word in losses),
        Explanation(
            "late-start", name, late, lambda _: np.nan, "s", delays, ((LATEST_S / 10, LATEST_S),), has_size=False
        ),
        Explanation("wrong-gear", name, gear, ratio_of, "1", none=1.0),
        Explanation(wrong, name, torque, ratio_of, "1", none=1.0),
    ]


def _of_machine(
    k: int,
    machine: MachineModel,
    times: _Grid,
    path_m: tuple[float, float],
    home_most_m: float | None,
    unknown: bool,
) -> list[Explanation]:
    name = machine.name

    def slip(model: MatchModel, z: float, at: tuple[float, ...]) -> MatchModel:
        told = replace(model.machines[k].changes, grip_since_s=at[0], grip_ratio=1.0 - part_of(z))
        return with_machine(model, k, changes=told)

    def stretch(model: MatchModel, z: float, at: tuple[float, ...]) -> MatchModel:
        told = replace(model.machines[k].changes, stretch_m=(at[0], at[1]), stretch_ratio=1.0 - part_of(z))
        return with_machine(model, k, changes=told)

    def rough(model: MatchModel, z: float, at: tuple[float, ...]) -> MatchModel:
        told = replace(model.machines[k].changes, stretch_m=(at[0], at[1]), stretch_ratio=1.0 + rougher_of(z))
        return with_machine(model, k, changes=told)

    def weigh(model: MatchModel, z: float, _: tuple[float, ...]) -> MatchModel:
        return with_machine(model, k, mass_kg=model.machines[k].mass_kg * ratio_of(z))

    def shift(model: MatchModel, z: float, _: tuple[float, ...]) -> MatchModel:
        x, y, height = model.machines[k].hitch_m
        return with_machine(model, k, hitch_m=(x, y + ARM_SPREAD_M * z, height))

    def block(model: MatchModel, _: float, at: tuple[float, ...]) -> MatchModel:
        return with_machine(model, k, changes=replace(model.machines[k].changes, wall_x_m=at[0]))

    def weaken(model: MatchModel, z: float, _: tuple[float, ...]) -> MatchModel:
        return with_machine(model, k, holding_N=model.machines[k].holding_N * (1.0 - part_of(z)))

    out = [
        Explanation("less-grip", name, slip, part_of, "1", *times, True),
        Explanation("opponent-heavier" if unknown else "wrong-mass", name, weigh, ratio_of, "1", none=1.0),
        Explanation("turned", name, shift, lambda z: ARM_SPREAD_M * z, "m", none=0.0),
    ]
    low, high = path_m
    if high - low > 0.05:
        step_m = (high - low) / 6
        edges = low + step_m * np.arange(7)
        cells = tuple((float(a), float(b)) for i, a in enumerate(edges) for b in edges[i + 1 :] if i > 0 or b < high)
        spacing = ((step_m, high - low), (step_m, high - low))
        out.append(Explanation("slippery-stretch", name, stretch, part_of, "1", cells, spacing))
        if machine.left is None and machine.holding_N <= 0:
            out.append(Explanation("rough-stretch", name, rough, rougher_of, "1", cells, spacing))
    if machine.left is not None and home_most_m is not None:
        walls = tuple((home_most_m + off,) for off in (-0.01, 0.0, 0.01))
        out.append(
            Explanation("blocked", name, block, lambda _: np.nan, "", walls, ((0.01, max(high - low, 0.1)),),
                        has_size=False)
        )  # fmt: skip
    if machine.holding_N > 0:
        out.append(Explanation("anchor-weaker", name, weaken, part_of, "1"))
    return out


def _release(model: MatchModel, _: float, at: tuple[float, ...]) -> MatchModel:
    return replace(model, rope=replace(model.rope, release_s=at[0])) if model.rope is not None else model


def _lengthen(model: MatchModel, z: float, _: tuple[float, ...]) -> MatchModel:
    if model.rope is None:
        return model
    return replace(model, rope=replace(model.rope, length_m=model.rope.length_m + ROPE_SPREAD_M * z))
