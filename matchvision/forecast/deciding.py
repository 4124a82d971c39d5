"""Who wins a computed match, by the event's own rules."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.sheet import RunSheet


@dataclass(frozen=True)
class Decision:
    """Whether the side at +x wins, and each side's rope (or mark) beyond what it takes to win [m], at the end."""

    plus_x_wins: bool
    minus_margin_m: float
    plus_margin_m: float


def decide(sheet: RunSheet, on_plus_x_m: FloatArray, total_m: FloatArray) -> Decision | None:
    """Decide a match from the rope on the +x side and the whole rope as it lies, (k,) arrays over the match.

    None where the rule needs a mark on the rope that the sheet does not place.

    Notes
    -----
    ``rope-share``: the larger share at the end wins; its margin is its rope beyond ``share_to_win``.
    ``mark-past-line``: the side past whose line the mark comes first wins, else the side where it lies at the end; the
    margin is how far beyond the line the mark lies at the end.
    """
    rules = sheet.rules
    if rules.decide == "rope-share":
        plus, total = float(on_plus_x_m[-1]), float(total_m[-1])
        needed = rules.share_to_win * total
        return Decision(plus > total / 2, total - plus - needed, plus - needed)
    rope = sheet.rope
    place = None if rope is None else next((bead.at_m for bead in rope.beads if bead.name == rules.mark), None)
    if rope is None or place is None:
        return None
    first_is_plus = sheet.machine[rope.ends[0]].home == "+x"
    from_plus = place if first_is_plus else rope.length_m - place
    mark_x = on_plus_x_m - from_plus / rope.length_m * total_m
    line = rules.line_m or 0.0
    past = np.flatnonzero(np.abs(mark_x) >= line) if line > 0 else np.array([], dtype=np.int64)
    deciding = mark_x[past[0]] if len(past) else mark_x[-1]
    return Decision(bool(deciding > 0), float(-mark_x[-1] - line), float(mark_x[-1] - line))
