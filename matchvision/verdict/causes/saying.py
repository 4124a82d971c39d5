"""What a weighed explanation says to people: its size, its sentence."""

import math
from collections.abc import Mapping
from typing import Final

from matchvision.records.events import Event
from matchvision.uncertainty import format_chance, format_interval
from matchvision.uncertainty.rounding import K_95, round_to_uncertainty
from matchvision.verdict.causes.refits.erring import MODEL_ERRORS
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.weighing import Weighed

NAN: Final = math.nan
#: Causes whose size is a share of something that is gone.
LOSSES: Final = ("less-grip", "slippery-stretch", "drive-loss", "anchor-weaker")
#: Ends of an interval are told apart where one lies this many times as far off as the other.
UNEVEN: Final = 1.5
#: Words with which statements begin that begin with no machine's name.
_BEGINNINGS: Final = (
    "The rope ", "The table ", "The gear ratio ", "The drive of ", "The anchor of ", "The logged command ",
    "It went as ", "Something that no ", "Two things together", "A hand was ",
)  # fmt: skip

_SENTENCES: Final[Mapping[str, str]] = {
    "less-grip": "{machine} had {share} less grip than forecast from {since} on",
    "slippery-stretch": "{machine} had {share} less grip {stretch}",
    "rough-stretch": "The table dragged {share} more at {machine} {stretch}",
    "drive-loss": "{machine} had lost {share} of its drive{detail} since {since}",
    "hitch-released": "The rope was let go at {since}",
    "anchor-weaker": "The anchor of {machine} held {share} less than forecast",
    "opponent-stronger": "{machine} drove with {ratio} times the torque that was guessed for it",
    "opponent-heavier": "{machine} weighed {ratio} times what was guessed for it",
    "late-start": "{machine} started {size} late",
    "wrong-gear": "The gear ratio of {machine} was {ratio} times what is stated",
    "wrong-mass": "{machine} weighed {ratio} times what is stated",
    "wrong-efficiency": "The drive of {machine} gave {ratio} times the torque that is stated",
    "rope-longer": "The rope was {amount} {longer} than stated",
    "turned": "The rope pulled at {machine} {amount} to the {side} of where its hitch is stated to sit",
    "blocked": "{machine} was stopped at x = {low}",
}


def size_of(best: Weighed) -> tuple[float, float, str]:
    """Size, standard uncertainty and unit that people read; NaN where it has none."""
    if best.explanation is None:
        return NAN, NAN, ""
    if best.cause == "late-start":
        return best.at[0], best.u_at[0], "s"
    if best.cause == "blocked":
        return best.at[0], best.u_at[0], "m"
    if best.cause == "hitch-released":
        return best.at[0], best.u_at[0], "s"
    return best.size, best.u_size, best.explanation.unit


def say(cause: str, best: Weighed, probability: float, touch: Event | None, otherwise: str = "") -> str:
    """The sentence of one cause, with its chance and what it leaves unexplained.

    ``otherwise`` is what may have been instead, as `say_briefly` gives it, where that is nearly as likely.
    """
    chance = f"{format_chance(probability)}, or {otherwise}" if otherwise else format_chance(probability)
    if best.explanation is not None and best.fit.residual_rms > MODEL_ERRORS[-1]:
        chance += ", though it only comes nearest of all that was tried and is no account of the run"
    off = "the forecast" if cause == "unexplained" else "it"
    misfit = f"what was measured lies {100 * best.fit.residual_rms:.1f} % of each quantity's size (rms) off {off}"
    if cause == "as-predicted":
        return f"It went as predicted within the stated uncertainties, {chance}; {misfit}."
    if cause == "unexplained":
        return f"Something that no single explanation tried here covers was at work, {chance}; {misfit}."
    if cause == "command-changed":
        return f"The logged command was another than planned, and explains the run as it is, {chance}; {misfit}."
    if cause == "touched" and touch is not None:
        since = format_interval(touch.start_s, touch.u_start_s, "s")
        said = f"A hand was over the table from {since} on and may have changed the run, {chance}"
        if best.beside is None or best.beside.explanation is None:
            return f"{said}."
        return (
            f"{said}; what began while it was there is as if: {_clause(best.beside, best.beside.explanation)} (95 %)."
        )
    if best.explanation is None:
        return f"{cause}, {chance}."
    told = _clause(best, best.explanation)
    if best.beside is not None and best.beside.explanation is not None:
        told = f"Two things together: {within(told)}; and {within(_clause(best.beside, best.beside.explanation))}"
    return f"{told} (95 %), {chance}; {misfit}."


def _stretch(at_m: tuple[float, ...], ends: list[str]) -> str:
    """Where a stretch of table lies: an end that was not met (NaN) is not told."""
    low, high = (math.isfinite(end_m) for end_m in at_m)
    if low and high:
        return f"between x = {ends[0]} and {ends[1]}"
    if low or high:
        return f"beyond x = {ends[0]}" if low else f"below x = {ends[1]}"
    return "all along its way"


def _interval(size: float, u_size: float, ends: tuple[float, float], unit: str = "") -> str:
    """A size with the half width of its 95 % interval; with both of its ends where they lie unevenly about it."""
    below, above = size - ends[0], ends[1] - size
    if not (below > 0 and above > 0) or max(below / above, above / below) < UNEVEN:
        return format_interval(size, u_size, unit)
    _, _, decimals = round_to_uncertainty(size, K_95 * u_size)
    told = [f"{round(value, decimals):.{max(decimals, 0)}f}" for value in (size, *ends)]
    return f"{told[0]} ({told[1]} to {told[2]}){f' {unit}' if unit else ''}"


def _share(best: Weighed) -> str:
    """A share in per cent; of what can be lost no more than all is."""
    most = 100.0 if best.cause in LOSSES else math.inf
    return _interval(100 * best.size, 100 * best.u_size, (100 * best.ends[0], min(100 * best.ends[1], most)), "%")


def say_briefly(cause: str, best: Weighed, probability: float) -> str:
    """The same as what may have been instead: "it went as predicted, 30 %"."""
    if cause == "as-predicted":
        told = "it went as predicted"
    elif cause == "unexplained":
        told = "something that nothing tried here explains"
    elif cause == "command-changed":
        told = "the logged command alone"
    elif cause == "touched":
        told = "the hand over the table"
    elif best.explanation is None:
        told = cause
    else:
        told = within(_clause(best, best.explanation))
        if best.beside is not None and best.beside.explanation is not None:
            told = f"two things together, {told} and {within(_clause(best.beside, best.beside.explanation))}"
    return f"{told}, {format_chance(probability)}"


def within(statement: str) -> str:
    """A statement as part of a longer sentence: a machine's name keeps its letter."""
    return f"{statement[0].lower()}{statement[1:]}" if statement.startswith(_BEGINNINGS) else statement


def _clause(best: Weighed, explanation: Explanation) -> str:
    """What one explanation says, with its size and date."""
    size, u_size, unit = size_of(best)
    ends = [format_interval(a, u, "m") for a, u in zip(best.at, best.u_at, strict=True)]
    return _SENTENCES[best.cause].format(
        machine=explanation.machine,
        share=_share(best),
        ratio=_interval(size, u_size, best.ends),
        size=format_interval(size, u_size, unit),
        amount=format_interval(1000 * abs(size), 1000 * u_size, "mm"),
        longer="longer" if size > 0 else "shorter",
        side="left" if size > 0 else "right",
        since=format_interval(best.at[0], best.u_at[0], "s") if best.at else "",
        low=ends[0] if ends else "",
        stretch=_stretch(best.at, ends) if len(ends) == 2 else "",
        detail=f" ({explanation.detail})" if explanation.detail else "",
    )
