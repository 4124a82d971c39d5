"""Each source's uncertainty budget as bars: what its pull's uncertainty is made of, the greatest first."""

import math
from dataclasses import dataclass

from matchvision.records.pull import BudgetLine, PullSource
from matchvision.records.results import Analysis
from matchvision.report import wording
from matchvision.report.readings import greatest_in_match, shown_sources


@dataclass(frozen=True)
class BudgetBar:
    """One line of the budget: its share of the variance in per cent, for the bar's length; its input beside it.

    ``given`` is the input's value with its standard uncertainty, ``sensitivity`` the pull for one unit of it; both
    empty where a line has no single input.
    """

    name: str
    text: str
    share: float
    common: bool
    given: str = ""
    sensitivity: str = ""


def draw_budgets(analysis: Analysis) -> list[tuple[PullSource, str, list[BudgetBar], list[BudgetBar]]]:
    """Each source's budget at its greatest pull: bars for what counts, then every line; largest first, fused leads."""
    found = []
    for source in reversed(shown_sources(analysis)):
        k = greatest_in_match(analysis, source.tension_N)
        if k is None:
            continue
        greatest = wording.quantity(float(source.tension_N[k]), float(source.u_tension_N[k]), "N")
        total = sum(line.u**2 for line in source.budget) or 1.0
        lines = [_bar(line, total) for line in sorted(source.budget, key=lambda line: -line.u)]
        bars = [bar for bar in lines if bar.share >= 1]
        small = [line for line in source.budget if line.u**2 < 0.01 * total]
        if small:
            u = math.sqrt(sum(line.u**2 for line in small))
            name = f"{len(small)} smaller {'ones together' if len(small) > 1 else 'one'}"
            bars.append(BudgetBar(name, f"{wording.number(u, 2)} {small[0].unit}", 100 * u**2 / total, small[0].common))
        found.append((source, greatest, bars, lines))
    return found


def _bar(line: BudgetLine, total: float) -> BudgetBar:
    """A budget's line in words."""
    text, share = f"{wording.number(line.u, 2)} {line.unit}", 100 * line.u**2 / total
    if not line.u_value > 0:
        return BudgetBar(line.name, text, share, line.common)
    unit = _shown(line.value_unit)
    return BudgetBar(
        line.name,
        text,
        share,
        line.common,
        given=wording.standard(line.value, line.u_value, unit),
        sensitivity=f"{wording.number(line.sensitivity, 3)} {line.unit}" + (f" for 1 {unit}" if unit else ""),
    )


def _shown(unit: str) -> str:
    """A unit as it is read; a bare ratio has none."""
    return "" if unit == "1" else unit
