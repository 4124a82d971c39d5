"""Who wins a computed match, by the event's own rules."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.sheet import RunSheet


@dataclass(frozen=True)
class Decision:
    """The side that wins (None: nobody), and each side's rope, or mark, beyond what it takes to win at the end [m]."""

    winner: Literal["-x", "+x"] | None
    minus_margin_m: float
    plus_margin_m: float


def decide(sheet: RunSheet, on_plus_x_m: FloatArray, total_m: FloatArray) -> Decision | None:
    """Decide a match from the rope on the +x side and the whole rope as it lies, (k,) arrays over the match.

    None where the rule needs a mark on the rope that the sheet does not place.

    Notes
    -----
    ``rope-share``: the larger share at the end wins, if it exceeds ``share_to_win``; its margin is its rope beyond it.
    ``mark-past-line``: the side past whose line the mark comes first wins, nobody where it passes none; the margin is
    how far beyond the line the mark lies at the end.
    Checked by: tests/forecast/test_predicting.py::test_rules_decide
    """
    rules = sheet.rules
    if rules.decide == "rope-share":
        plus, total = float(on_plus_x_m[-1]), float(total_m[-1])
        needed = rules.share_to_win * total
        larger: Literal["-x", "+x"] = "+x" if plus > total / 2 else "-x"
        winner = larger if max(plus, total - plus) > needed else None
        return Decision(winner, total - plus - needed, plus - needed)
    rope = sheet.rope
    place = None if rope is None else next((bead.at_m for bead in rope.beads if bead.name == rules.mark), None)
    if rope is None or place is None:
        return None
    first_is_plus = sheet.machine[rope.ends[0]].home == "+x"
    from_plus = place if first_is_plus else rope.length_m - place
    mark_x = on_plus_x_m - from_plus / rope.length_m * total_m
    line = rules.line_m or 0.0
    # Without a line each side's begins in the middle: where the mark lies at the end decides.
    past = np.flatnonzero(np.abs(mark_x) > line) if line > 0 else np.array([len(mark_x) - 1])
    first: Literal["-x", "+x"] | None = None
    if len(past):
        first = "+x" if mark_x[past[0]] > 0 else "-x"
    return Decision(first, float(-mark_x[-1] - line), float(mark_x[-1] - line))
