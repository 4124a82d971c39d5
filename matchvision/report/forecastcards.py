"""The forecast against what was measured: a card for each quantity, and all of it in brief."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matchvision.records.results import Analysis, ComparisonRow
from matchvision.report import wording
from matchvision.report.readings import COVERAGE

#: Quantities that stand in brief beside the table from above.
MOST_IN_BRIEF: Final = 6
#: What became of a forecast number, by `ComparisonRow.within`: of one, said by itself, and of several.
_OUTCOMES: Final = {
    "no": ("was off", "off", "were off"),
    "yes": ("holds", "holds", "hold"),
    "inconclusive": ("cannot be told", "cannot tell", "cannot be told"),
}


@dataclass(frozen=True)
class ComparisonPicture:
    """Two intervals on one small scale, in per cent of its width: (low, middle, high) each."""

    predicted: tuple[float, float, float]
    measured: tuple[float, float, float]


#: A row, lengths in millimetres, and its drawing where both intervals are known.
Card = tuple[ComparisonRow, ComparisonPicture | None]


def draw_cards(analysis: Analysis) -> list[Card]:
    """A card for each quantity of the whole run; chances and single phases are told elsewhere."""
    return [
        (wording.in_millimetres(row), draw_intervals(row))
        for row in analysis.verdict.comparison
        if not row.quantity.startswith("chance") and not row.phase
    ]


def choose_brief(cards: Sequence[Card]) -> list[tuple[str, str, str, ComparisonPicture]]:
    """Quantity, kind of outcome, outcome and drawing of those that say most: what was off first, the open ones last."""
    drawn = [(row.quantity, row.within, _OUTCOMES[row.within][1], picture) for row, picture in cards if picture]
    return sorted(drawn, key=lambda one: list(_OUTCOMES).index(one[1]))[:MOST_IN_BRIEF]


def brief_words(cards: Sequence[Card]) -> str:
    """How many of the forecast's numbers hold, in a sentence.

    Notes
    -----
    Checked by: tests/report/test_forecastcards.py::test_in_brief_every_number_is_counted_once
    """
    counts = {kind: sum(row.within == kind for row, _ in cards) for kind in _OUTCOMES}
    said = [f"{counts[kind]} {of[0] if counts[kind] == 1 else of[2]}" for kind, of in _OUTCOMES.items() if counts[kind]]
    return f"Of {len(cards)} forecast numbers {', '.join(said)}." if said else ""


def draw_intervals(row: ComparisonRow) -> ComparisonPicture | None:
    """Predicted and measured intervals (95 %) on one scale; None where one is not known."""
    numbers = (row.predicted, row.measured)
    if not all(math.isfinite(v) for v in numbers):
        return None
    halves = [COVERAGE * (u if math.isfinite(u) else 0.0) for u in (row.u_predicted, row.u_measured)]
    low = min(v - h for v, h in zip(numbers, halves, strict=True))
    high = max(v + h for v, h in zip(numbers, halves, strict=True))
    span = (high - low) or abs(high) or 1.0

    def at(value: float) -> float:
        return 6 + 88 * (value - low) / span

    intervals = [(at(v - h), at(v), at(v + h)) for v, h in zip(numbers, halves, strict=True)]
    return ComparisonPicture(intervals[0], intervals[1])
