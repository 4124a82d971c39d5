"""The report's words: numbers with unit and ±, and plain sentences for events, comparison, causes and cautions."""

import dataclasses
import math
import re
from collections.abc import Sequence
from typing import Final

from matchvision.records.events import Event
from matchvision.records.practice import PracticeParameter
from matchvision.records.results import Analysis, CauseRow, ComparisonRow, Ruling
from matchvision.report.readings import COVERAGE, best_pull, greatest_in_match, match_times, place_of_run, source_words
from matchvision.uncertainty import format_chance, format_quantity

_RAISED: Final = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

#: Event kind -> what happened, said of a machine or of the rope.
EVENT_WORDS: Final = {
    "early-start": "moves before the start",
    "first-motion": "starts to move",
    "lead-change": "the lead changes",
    "slip": "wheels slip",
    "spin": "wheels spin on the spot",
    "dragged": "is dragged",
    "stall": "stalls",
    "held": "holds still",
    "anchor-creep": "anchor creeps",
    "dislodged": "anchor lets go",
    "rope-off": "rope comes off",
    "drive-loss": "loses drive",
    "turned": "is pulled round",
    "contact": "machines touch",
    "blocked": "is blocked",
    "reach-out": "arm goes out",
    "lifted": "front lifts",
    "tipped": "tips over",
    "off-table": "leaves the table",
    "touch": "a hand is over the table",
}

CAUSE_WORDS: Final = {
    "as-predicted": "everything as predicted",
    "less-grip": "less grip",
    "slippery-stretch": "a slippery stretch of table",
    "rough-stretch": "a rough stretch of table",
    "drive-loss": "drive lost",
    "hitch-released": "the hitch let go",
    "anchor-weaker": "the anchor was weaker",
    "opponent-stronger": "a stronger opponent",
    "opponent-heavier": "a heavier opponent",
    "late-start": "a late start",
    "wrong-gear": "another gear than stated",
    "wrong-mass": "another mass than stated",
    "wrong-efficiency": "another efficiency than stated",
    "rope-longer": "a longer or shorter rope than stated",
    "turned": "pulled round",
    "blocked": "blocked",
    "command-changed": "driven otherwise than planned",
    "touched": "touched by a hand",
    "unexplained": "something that was not predicted",
}

STAGE_WORDS: Final = {
    "footage": "Footage",
    "table": "Table and camera",
    "markers": "Markers",
    "mends": "Mends by hand",
    "motion": "Motion",
    "pull": "Pull",
    "grip": "Grip and events",
    "practice": "Practice run",
    "forecast": "Forecast",
    "verdict": "Verdict",
    "causes": "Causes",
}

CAUTIONS: Final = (
    "A pull read from a video is for contest practice. It rates no lifting gear, rope or anchor for anybody's safety.",
    "The event's judges, its local rules and the workshop's supervisor decide; this page only informs them.",
    "A taut rope and a sprung arm store energy: keep faces out of their line, wear eye protection.",
    "In hang and lift tests a mass can fall: keep hands and feet from under it.",
    "Mind pinch points, and what happens when a vacuum lets go.",
    "Hands stay off the table while the clock runs.",
    "Charge and fuse batteries under the electrical and workshop practice that holds at your place.",
    "Ask the people who can be seen in a clip, minors and their guardians above all, before you film or share it.",
)


def quantity(value: float, u: float, unit: str = "") -> str:
    """A value with its 95 % half width and unit; ``u`` is standard (k = 1)."""
    return format_quantity(value, COVERAGE * u, unit if unit != "1" else "").replace("-", "−")


def standard(value: float, u: float, unit: str = "") -> str:
    """A value with its standard uncertainty (k = 1) and unit."""
    return format_quantity(value, u, unit if unit != "1" else "").replace("-", "−")


def plain(value: float, unit: str = "") -> str:
    """A number alone, three digits."""
    if not math.isfinite(value):
        return "–"
    return f"{number(value, 3)} {unit if unit != '1' else ''}".strip()


def number(value: float, digits: int) -> str:
    """A number with so many digits, its sign and its power of ten as they are written, not as they are typed."""
    text, _, power = f"{value:.{digits}g}".partition("e")
    raised = str(int(power)).translate(_RAISED) if power else ""
    return text.replace("-", "−") + (f" × 10{raised}" if raised else "")


def per_cent(share: float, u: float) -> str:
    """A share (0 to 1) as per cent with its 95 % half width."""
    return quantity(100 * share, 100 * u, "%")


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = re.sub(r"(?<![\w.])-(?=\d)", "−", text.strip())
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def event_words(event: Event) -> str:
    """What happened, in a few words."""
    words = EVENT_WORDS.get(event.kind, event.kind)
    return f"{event.machine}: {words}" if event.machine else words


def moment(t_s: float) -> str:
    """A match time, to the hundredth of a second."""
    return f"{t_s:.2f} s".replace("-", "−")


def event_time(event: Event) -> str:
    """When it happened: a moment, or from when to when."""
    start = quantity(event.start_s, event.u_start_s, "s")
    picture = f" (picture {event.frame})" if event.frame >= 0 else ""
    return start + (f", until {moment(event.end_s)}" if math.isfinite(event.end_s) else "") + picture


def verdict_words(analysis: Analysis) -> tuple[str, str]:
    """The verdict in a sentence, and how surely: "sure", "close", "none" or "load"."""
    ruling = analysis.verdict.ruling
    if ruling is not None and ruling.winner is not None:
        return sentence(ruling.sentence), "sure" if ruling.sure else "close"
    if analysis.run.sheet.run.kind != "match":
        return _load_run_words(analysis), "load"
    if ruling is not None and ruling.sentence:
        return sentence(ruling.sentence), "none"
    return "No winner can be named from this footage.", "none"


def margin_words(analysis: Analysis) -> str:
    """Margin and share with their intervals; empty where there is no winner or the verdict already says them."""
    ruling = analysis.verdict.ruling
    if ruling is None or ruling.winner is None or not math.isfinite(ruling.margin_m) or "±" in ruling.sentence:
        return ""
    margin = f"Margin {quantity(1000 * ruling.margin_m, 1000 * ruling.u_margin_m, 'mm')}"
    share = f", share {per_cent(ruling.share, ruling.u_share)}" if math.isfinite(ruling.share) else ""
    return f"{margin}{share}, {ruling.winner}."


def margin_off(ruling: Ruling | None) -> str:
    """How far off the margin may be by what contradicts the sheet; empty where every uncertainty covers it."""
    if ruling is None or not any(not one.covered for one in ruling.doubts):
        return ""
    if not math.isfinite(ruling.shift_m):
        return "Places may be off by more than any ± on this page says."
    return f"Places may be off by {1000 * ruling.shift_m:.0f} mm more than any ± on this page says."


def _load_run_words(analysis: Analysis) -> str:
    name, x_m, u_x_m = place_of_run(analysis)
    t_s = match_times(analysis)
    inside = [k for k in range(len(t_s)) if 0 <= t_s[k] <= analysis.clock.duration_s and math.isfinite(x_m[k])]
    if not inside:
        return "A run without an opponent: nobody wins, and the motion is not known."
    first, last = inside[0], inside[-1]
    moved = quantity(1000 * abs(x_m[last] - x_m[first]), 1000 * math.hypot(u_x_m[first], u_x_m[last]), "mm")
    what = name.removeprefix("place of ")
    way = f"{what} moved {moved} in {t_s[last] - t_s[first]:.1f} s"
    if analysis.practice is None or analysis.run.sheet.run.kind == "sled":
        return sentence(f"{way}: a run without an opponent")
    first_said, *more = (measured_words(parameter) for parameter in analysis.practice.parameters)
    return sentence(f"{first_said}: {'; '.join([*more, way])}")


def measured_words(parameter: PracticeParameter) -> str:
    """A practice run's number by its name, with its 95 % interval."""
    return f"{parameter.name} {standard(parameter.value, parameter.u95, parameter.unit)}"


def cause_words(causes: Sequence[CauseRow], *, kind: str, forecast: bool, compared: bool, due: bool = False) -> str:
    """The likeliest cause in a sentence, or why none is named and what would give one."""
    if due:
        return "Why it went so follows: causes are still being sought, or were left for later (matchvision causes)."
    if causes:
        likeliest = max(causes, key=lambda cause: cause.probability)
        said = likeliest.statement.split("; what was measured", maxsplit=1)[0]
        first, chances, _ = said.partition("%: ")
        said = (f"{first}%" if chances else said.partition(". ")[0]).rstrip(".")
        return sentence(said if "%" in said else f"{said} ({chance(likeliest.probability)})")
    if kind not in ("match", "sled"):
        return "A practice run by itself: causes are sought where a match went otherwise than forecast."
    if not forecast:
        return "No cause is named: a [forecast] in the sheet would let this page say what differed from the plan."
    if compared:
        return "No cause is named: the forecast is too wide, or too little was measured, to tell run from plan."
    return "No cause is named: nothing that was measured can be set against the forecast."


def headline(text: str) -> tuple[str, str]:
    """A sentence in two: what comes before its first colon, to be set large, and the rest."""
    first, colon, rest = text.partition(": ")
    return (f"{first}.", sentence(rest)) if colon and len(first) < 70 else (text, "")


def chance(probability: float) -> str:
    """A probability in per cent; never 0 or 100."""
    return format_chance(probability)


def in_millimetres(row: ComparisonRow) -> ComparisonRow:
    """The row with metres as millimetres, which read more easily on a table."""
    if row.unit not in ("m", "m/s"):
        return row
    scaled = {
        name: 1000 * getattr(row, name)
        for name in ("predicted", "u_predicted", "measured", "u_measured", "error", "u_validation")
    }
    return dataclasses.replace(row, unit=f"m{row.unit}", **scaled)


def comparison_words(row: ComparisonRow) -> str:
    """Predicted against measured, for a team."""
    row = in_millimetres(row)
    if not (math.isfinite(row.predicted) and math.isfinite(row.measured)):
        if math.isfinite(row.measured):
            return "It happened, but the forecast does not foresee it."
        return "It was predicted, but did not happen or could not be measured."
    if not math.isfinite(row.u_validation):
        return "One run alone cannot test a chance; many can."
    apart = quantity(abs(row.error), row.u_validation, row.unit)
    way = "too high" if row.error > 0 else "too low"
    if min(row.predicted, row.measured) < 0:
        way = "off"  # of two ways against the home direction it is unclear which is the higher one
    elif row.unit == "s":
        way = "too late" if row.error > 0 else "too early"
    if row.within == "yes":
        return "The forecast holds: the two agree within what their uncertainties allow."
    if row.within == "no":
        return f"The forecast was {way} by {apart}: more than the uncertainties explain."
    return "The uncertainties are too wide to say: state the forecast more tightly, or measure better."


def cause_phrase(cause: str) -> str:
    """A cause in plain words; two that were at work together are joined by a plus in the tables."""
    return " and ".join(CAUSE_WORDS.get(part, part) for part in cause.split("+"))


def cause_name(row: CauseRow) -> str:
    """A cause in a few words, with its machine; of what is unexplained nobody knows whose it is."""
    words = cause_phrase(row.cause)
    return f"{row.machine}: {words}" if row.machine and row.cause != "unexplained" else words


def rule_words(analysis: Analysis) -> str:
    """The event's rule as it was applied."""
    rules, kind = analysis.run.sheet.rules, analysis.run.sheet.run.kind
    if kind != "match":
        return f"A {kind} run has no winner, so no rule was applied."
    if rules.decide == "mark-past-line":
        line = "the line" if rules.line_m is None else f"the line {rules.line_m:.3f} m from the centre"
        text = f"A machine wins once the mark {rules.mark or 'on the rope'} has passed {line} on its side."
    else:
        text = (
            f"A machine wins whose home side holds more than {100 * rules.share_to_win:.0f} % of the rope, "
            "as it lies, when the clock stops."
        )
    ruling = analysis.verdict.ruling
    when = f" It was applied at {ruling.decided_at_s:.2f} s." if ruling is not None else ""
    return text + when


def example_citation(analysis: Analysis) -> str:
    """One number of this run as it would be written elsewhere; empty where there is none."""
    ruling = analysis.verdict.ruling
    if ruling is not None and ruling.winner is not None and math.isfinite(ruling.margin_m):
        margin = quantity(1000 * ruling.margin_m, 1000 * ruling.u_margin_m, "mm")
        return f"margin {margin} (95 %, k = 1.96)"
    best = best_pull(analysis)
    if best is not None:
        k = greatest_in_match(analysis, best.tension_N)
        if k is not None:
            greatest = quantity(float(best.tension_N[k]), float(best.u_tension_N[k]), "N")
            return f"greatest pull {greatest} (95 %, k = 1.96), from {source_words(best)}"
    return ""
