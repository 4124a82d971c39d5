"""The forecast phase by phase: for each quantity how far off it was, as a bar about zero and in words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matchvision.records.results import Analysis, ComparisonRow, CurveRow, Phase
from matchvision.report import wording
from matchvision.report.readings import COVERAGE

PHASE_WORDS: Final = {
    "reach": "Reaching out",
    "first-pull": "First pull",
    "contest": "Contest",
    "hold": "Hold",
}
#: An error of this share of the quantity's size fills the bar's half.
FULL_RATIO: Final = 1.0


@dataclass(frozen=True)
class ErrorBar:
    """One quantity of one phase; places on the bar in per cent of its width, 50 is no error.

    ``beyond`` says on which side the error's middle lies beyond the bar: "low", "high" or "".
    """

    quantity: str
    predicted: str
    measured: str
    within: str
    low: float
    middle: float
    high: float
    beyond: str
    words: str


@dataclass(frozen=True)
class PhaseTold:
    """One phase with its quantities."""

    name: str
    when: str
    evidence: str
    bars: tuple[ErrorBar, ...]


def tell_phases(analysis: Analysis) -> tuple[PhaseTold, ...]:
    """Every phase in which anything was both predicted and measured, in order of time."""
    rows = [row for row in analysis.verdict.comparison if row.phase]
    told = [tell_phase(phase, [row for row in rows if row.phase == phase.phase]) for phase in analysis.verdict.phases]
    return tuple(phase for phase in told if phase.bars)


def tell_phase(phase: Phase, rows: Sequence[ComparisonRow]) -> PhaseTold:
    """One phase in words and bars."""
    when = f"{phase.from_s:.2f} s to {phase.until_s:.2f} s"
    return PhaseTold(PHASE_WORDS[phase.phase], when, phase.evidence, tuple(error_bar(row) for row in rows))


def error_bar(row: ComparisonRow) -> ErrorBar:
    """One row as a bar: predicted − measured with its 95 % interval, over the quantity's size."""

    def at(error: float) -> float:
        return min(max(50.0 + 50.0 * error / (FULL_RATIO * row.scale), 0.0), 100.0) if row.scale > 0 else 50.0

    half = COVERAGE * row.u_validation
    ratio = row.error / row.scale if row.scale > 0 else 0.0
    beyond = "" if abs(ratio) <= FULL_RATIO else ("high" if ratio > 0 else "low")
    shown = wording.in_millimetres(row)
    return ErrorBar(
        quantity=row.quantity,
        predicted=wording.quantity(shown.predicted, shown.u_predicted, shown.unit),
        measured=wording.quantity(shown.measured, shown.u_measured, shown.unit),
        within=row.within,
        low=at(row.error - half),
        middle=at(row.error),
        high=at(row.error + half),
        beyond=beyond,
        words={"yes": "holds", "no": "too high" if row.error > 0 else "too low"}.get(row.within, "cannot tell"),
    )


def tell_curves(curves: Sequence[CurveRow]) -> tuple[tuple[str, str], ...]:
    """Each curve of the whole run: its name, and how predicted and measured lie apart, in a sentence."""
    return tuple((_name(row), curve_words(row)) for row in curves if not row.phase)


def curve_words(row: CurveRow) -> str:
    """Sooner or later, larger or smaller, and what is left."""
    parts = []
    if math.isfinite(row.shift_s):
        shift = wording.quantity(abs(row.shift_s), row.u_shift_s, "s")
        told = abs(row.shift_s) > COVERAGE * row.u_shift_s
        parts.append(f"predicted {'too late' if row.shift_s > 0 else 'too early'} by {shift}" if told else "on time")
    else:
        parts.append("no shift in time can be told")
    if math.isfinite(row.size_ratio):
        change = 100 * (row.size_ratio - 1)
        size = wording.quantity(abs(change), 100 * row.u_size_ratio, "%")
        told = abs(change) > COVERAGE * 100 * row.u_size_ratio
        parts.append(f"{'too large' if change > 0 else 'too small'} by {size}" if told else "of the right size")
    parts.append(f"and {100 * row.shape_ratio:.0f} % of its size are left in shape")
    return wording.sentence(
        f"{', '.join(parts)}; {100 * row.inside_ratio:.0f} % of the time within the 95 % of both (honest bands: 95 %)"
    )


def _name(row: CurveRow) -> str:
    return f"{row.quantity}, {row.machine}" if row.machine else row.quantity
