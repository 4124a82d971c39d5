"""Repeats in plain sentences: how runs scatter, what a change brought, what so many runs can show."""

import math
from typing import Final

from matchvision.records.repeats import RepeatGroup, Repeats
from matchvision.report.readings import COVERAGE
from matchvision.uncertainty import format_quantity

#: Two repeats differ by more than this times s_r once in twenty: 1.96 √2, ISO 5725-6.
LIMIT_FACTOR: Final = 2.77
#: Below this chance the runs' own uncertainties do not explain their scatter.
UNLIKELY_P: Final = 0.05
#: An improvement is called sure from this chance on, and unsure down to its counterpart.
SURE_CHANCE: Final = 0.95

_SHOWN: Final = {"m": (1000.0, "mm"), "m/s": (1000.0, "mm/s"), "1": (1.0, "")}


def shown_unit(unit: str) -> tuple[float, str]:
    """Factor and unit in which a quantity is read: lengths and speeds in millimetres, ratios without a unit."""
    return _SHOWN.get(unit, (1.0, unit))


def told(value: float, half: float, unit: str) -> str:
    """A value with the half width that is meant, in the unit in which it is read."""
    factor, name = shown_unit(unit)
    return format_quantity(factor * value, factor * half, name).replace("-", "−")


def plain(value: float, unit: str) -> str:
    """A number to two significant digits, with unit: a scatter or a limit."""
    if not math.isfinite(value):
        return "not known"
    factor, name = shown_unit(unit)
    scaled = abs(factor * value)
    if scaled == 0:
        return f"0 {name}".strip()
    places = max(0, 1 - math.floor(math.log10(scaled)))
    return f"{round(scaled, places):.{places}f} {name}".strip()


def name_row(row: Repeats) -> str:
    """Whose quantity."""
    return f"{row.quantity}, {row.machine}" if row.machine else row.quantity


def group_words(row: Repeats) -> list[tuple[str, str]]:
    """Each group's name and its mean with the 95 % interval; of a single run what its own measurement leaves open."""
    names = ("all runs",) if len(row.groups) == 1 else ("before", "after")
    return [(name, _mean_words(g, row.unit)) for name, g in zip(names, row.groups, strict=True)]


def _mean_words(group: RepeatGroup, unit: str) -> str:
    runs = _runs(group)
    if group.half_95 > 0:
        return f"{told(group.mean, group.half_95, unit)}, {runs}"
    if not math.isfinite(group.u_within):
        return f"{told(group.mean, math.nan, unit)}, {runs}, how surely is not known"
    return f"{told(group.mean, COVERAGE * group.u_within, unit)}, {runs} (the measurement's own ±)"


def _runs(group: RepeatGroup) -> str:
    n = len(group.readings)
    return f"{n} run{'s' if n > 1 else ''}"


def scatter_words(row: Repeats) -> str:
    """Repeatability, and how much of it is the measurement's own."""
    if not math.isfinite(row.s_r):
        return "One run alone says nothing about how runs scatter."
    said = (
        f"From run to run it scatters by a standard deviation of {plain(row.s_r, row.unit)} (95 %: "
        f"{plain(row.s_r_low, row.unit)} to {plain(row.s_r_high, row.unit)}; {row.degrees} "
        f"degree{'s' if row.degrees != 1 else ''} of freedom): two runs "
        f"made alike differ by more than {plain(LIMIT_FACTOR * row.s_r, row.unit)} once in twenty."
    )
    largest = max((g for g in row.groups if len(g.readings) > 1), key=lambda g: len(g.readings))
    if not math.isfinite(largest.p_alike):
        return said + " How sure each single run is, is not known."
    own = f" A single run is measured to {plain(largest.u_within, row.unit)} (k = 1)"
    if largest.p_alike < UNLIKELY_P:
        return said + (
            f"{own}; the rest, {plain(largest.s_between, row.unit)} (95 %: {plain(largest.s_between_low, row.unit)} to "
            f"{plain(largest.s_between_high, row.unit)}), is the machine's own."
        )
    return said + f"{own}, which explains the scatter (chance of so much or more: {100 * largest.p_alike:.0f} %)."


def straggler_words(row: Repeats) -> list[str]:
    """Runs that lie apart."""
    return [
        f"{one.run} lies apart ({one.word}: Grubbs' G {one.statistic:.2f}, chance {100 * one.p:.2g} %). It is counted "
        "all the same: look at its report before you leave it out."
        for group in row.groups
        for one in group.stragglers
    ]


def change_words(row: Repeats) -> str:
    """What the change brought; empty for a single group."""
    if len(row.groups) < 2:
        return ""
    if row.change is None:
        return "Whether the change did it cannot be said: both sides need two runs or more that are not exactly equal."
    change = row.change
    factor, unit = shown_unit(row.unit)
    numbers = [factor * v for v in (change.difference, change.low, change.high)]
    places = max(0, 1 - math.floor(math.log10(max((numbers[2] - numbers[1]) / 2, 1e-300))))
    middle, low, high = (f"{round(v, places) + 0.0:+.{places}f}".replace("-", "−") for v in numbers)
    share = f", {_percent(row, change.difference)}" if row.groups[0].mean else ""
    return f"Change {middle} {unit} (95 %: {low} to {high} {unit}{share})".replace("  ", " ") + f". {_chance(row)}"


def _percent(row: Repeats, difference: float) -> str:
    return f"{_two_digits(100 * difference / abs(row.groups[0].mean)):+} %".replace("-", "−")


def _chance(row: Repeats) -> str:
    if row.change is None:
        return ""
    more = row.change.chance_more
    if row.better == 0:
        return f"Chance that it truly rose: {_chance_text(more)}."
    chance = more if row.better > 0 else 1 - more
    if chance >= SURE_CHANCE:
        head = "It has improved"
    elif chance <= 1 - SURE_CHANCE:
        head = "It has become worse"
    else:
        head = "It cannot be told yet"
    return f"{head}: chance that it truly improved {_chance_text(chance)}."


def _chance_text(chance: float) -> str:
    if chance > 0.995:
        return "over 99 %"
    return "below 1 %" if chance < 0.005 else f"{100 * chance:.0f} %"


def power_words(row: Repeats) -> str:
    """What so many runs can show, and how many it takes."""
    if not math.isfinite(row.seen):
        return ""
    runs = max(2, min(len(g.readings) for g in row.groups))
    mean = abs(row.groups[0].mean)
    share = (
        f"{_two_digits(100 * row.seen / mean)} % ({plain(row.seen, row.unit)})" if mean else plain(row.seen, row.unit)
    )
    said = f"With {runs} runs each you would see a change of {share} in four cases of five"
    if row.runs_to_see == 0:
        return f"{said}; one of 10 % would take more than 100 runs each."
    return f"{said}; one of 10 % takes {row.runs_to_see} runs each."


def _two_digits(value: float) -> int | float:
    """A number rounded to two digits, and written out: 110, not 1.1e+02."""
    rounded = float(f"{value:.2g}")
    return int(rounded) if rounded.is_integer() else rounded
