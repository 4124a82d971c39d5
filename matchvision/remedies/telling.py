"""What would have won, in sentences for people."""

from collections.abc import Sequence
from typing import Final

from matchvision.mechanics.fitted import FittedMatch
from matchvision.mechanics.machine import MachineModel
from matchvision.records.remedies import LeverPoint, Remedy
from matchvision.records.sheet import Run
from matchvision.remedies.winning import Chance
from matchvision.uncertainty import format_chance, format_chances

LIMITED_BY: Final = {
    "motor": "by its motors",
    "grip": "by its grip",
    "weight": "by too little weight on the wheels that still touched",
    "rope": "by a rope that hung",
    "held": "by what holds it",
    "off": "by a drive that was off",
}
#: A share that would be told as 100 %.
ALL_OF_IT: Final = 0.995
#: Unit of what a lever's setting is when built.
UNITS: Final = {"gear": "1", "grip": "1", "weight": "m", "arm": "s", "start": "s"}
_FAILURES: Final = {
    "less-grip": "the loss of grip",
    "slippery-stretch": "the slippery stretch of table",
    "rough-stretch": "the rough stretch of table",
    "drive-loss": "the lost drive",
    "hitch-released": "the hitch that let go",
    "anchor-weaker": "the weak anchor",
    "late-start": "the late start",
    "wrong-gear": "the wrong gear",
    "wrong-mass": "the wrong mass",
    "wrong-efficiency": "the wrong efficiency",
    "rope-longer": "the wrong length of rope",
    "turned": "the pull from the side",
    "blocked": "what stopped it",
}


def say_change(run: Run, machine: MachineModel, lever: str, setting: float, chance: Chance, samples: int) -> str:
    """A change that does, with its chance and what the number of draws leaves open of it."""
    told = describe(run, machine, lever, setting)
    return f"With {told}, {machine.name} would have won with a chance of {say_chance(chance, samples)}."


def say_none(run: Run, machine: MachineModel, lever: str, settings: Sequence[float], best: LeverPoint) -> str:
    """That no setting of a lever does, and what the best of them would have brought."""
    return (
        f"{_range(run, machine, lever, settings)} turns the verdict with a chance of 90 %; the best tried reaches "
        f"{format_chance(best.win_chance)}."
    )


def say_mended(run: Run, fitted: FittedMatch, k: int, chance: Chance) -> str:
    """What would have been without the failure."""
    name = fitted.best.machines[k].name
    failure = _FAILURES.get(fitted.cause, "what went wrong")
    return f"Without {failure}, {name} would have won with a chance of {say_chance(chance, len(fitted.samples))}."


def say_all(name: str, limits: Sequence[tuple[str, float]], remedies: Sequence[Remedy]) -> str:
    """The answer in a sentence or two."""
    first = ""
    if limits:
        word, share = limits[0]
        long = "all of the time" if share > ALL_OF_IT else f"for {100 * share:.0f} % of the time"
        first = f"In the contest the pull of {name} was limited {LIMITED_BY[word]} {long}. "
    good = [remedy for remedy in remedies if remedy.size < float("inf")]
    if not good:
        return f"{first}No single change that was tried would have turned the verdict with a chance of 90 %."
    return first + ("The smallest change that turns the verdict: " if len(good) > 1 else "") + good[0].statement


def caveats(gap_m: float, fitted: FittedMatch, machine: MachineModel) -> tuple[str, ...]:
    """What the answer rests on."""
    told = [
        "One thing is changed at a time; the opponent and the table do exactly what they did.",
        f"The fitted match ends {1000 * gap_m:.0f} mm of rope from where it was measured to end, and leaves "
        f"{100 * fitted.residual_ratio:.1f} % of each quantity's size unexplained; the first counts as an uncertainty.",
        "The range of a chance is what the number of draws leaves open, not what the model may lack: try the change in "
        "a practice run before you build on it.",
    ]
    if machine.left is not None and machine.driven == "all":
        told.append(f"All wheels of {machine.name} are driven, so moving weight forwards or backwards changes no grip.")
    return tuple(told)


def value_of(run: Run, machine: MachineModel, lever: str, setting: float) -> float:
    """A setting as it would be built: gear ratio (1 where none is stated), grip, metres, seconds."""
    if lever == "gear":
        ratio = _stated(run, machine.name, "gear_ratio")
        return setting if ratio is None else ratio * setting
    if lever == "grip":
        return machine.grip_sliding * setting
    if lever == "arm" and machine.arm is not None:
        return machine.arm.lasts_s * setting
    return setting


def describe(run: Run, machine: MachineModel, lever: str, setting: float) -> str:
    """A setting in the words of a workshop."""
    if lever == "gear":
        ratio = _stated(run, machine.name, "gear_ratio")
        if ratio is None:
            return f"a gear ratio {setting:.2f} times what it was"
        return f"a gear ratio of {ratio * setting:.3g} instead of {ratio:.3g}"
    if lever == "grip":
        was = machine.grip_sliding
        return f"a grip of {was * setting:.2f} instead of {was:.2f}"
    if lever == "weight":
        way = "front" if setting > 0 else "rear"
        return f"the centre of mass {1000 * abs(setting):.0f} mm further to the {way}"
    if lever == "arm" and machine.arm is not None:
        return f"an arm that is out in {machine.arm.lasts_s * setting:.2f} s instead of {machine.arm.lasts_s:.2f} s"
    return f"a start {setting:.2f} s sooner"


def _range(run: Run, machine: MachineModel, lever: str, settings: Sequence[float]) -> str:
    """What was tried of a lever, as the beginning of a sentence."""
    low, high = settings[0], settings[-1]
    if lever == "gear":
        ratio = _stated(run, machine.name, "gear_ratio")
        was = 1.0 if ratio is None else ratio
        return f"No gear ratio between {was * low:.3g} and {was * high:.3g} (it was {was:.3g})"
    if lever == "grip":
        was = machine.grip_sliding
        return f"No grip between {was * low:.2f} and {was * high:.2f} (it was {was:.2f})"
    if lever == "weight":
        return f"No weight shift between {1000 * -low:.0f} mm to the rear and {1000 * high:.0f} mm to the front"
    if lever == "arm" and machine.arm is not None:
        was = machine.arm.lasts_s
        return f"No arm that is out in {was * low:.2f} s to {was * high:.2f} s (it took {was:.2f} s)"
    return "No earlier start"


def say_chance(chance: Chance, samples: int) -> str:
    """A chance with the range that the number of draws leaves open."""
    return (
        f"{format_chance(chance.value)} ({format_chances(chance.low, chance.high)} from {samples} drawn matches alone)"
    )


def _stated(run: Run, name: str, key: str) -> float | None:
    """A number of the machine's forecast, or of its measured drive."""
    for block in (run.sheet.forecast.get(name), run.sheet.machine[name].drive):
        number = getattr(block, key, None)
        if number is not None:
            return float(number.value)
    return None
