"""A class's outcomes in plain words."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Final

from matchvision.records.classbook import ClassBook, Coverage, Reliability, RunLine, Spread, Upset
from matchvision.report.repeatswords import told
from matchvision.report.wording import EVENT_WORDS, cause_phrase
from matchvision.uncertainty import format_chance

#: A list of so many runs stands open, and needs nothing to find one.
FEW_RUNS: Final = 16
#: Upsets that are told at once.
FEW_UPSETS: Final = 8
#: Teams that fit side by side.
MOST_TEAMS: Final = 10

_WEIGHTS: Final = {3: "no answer", 2: "may be wrong", 1: "not all of it"}


def count_words(book: ClassBook) -> str:
    """How far the season has come."""
    counts = {
        word: sum(line.status == word for line in book.lines) for word in ("done", "answered", "failed", "listed")
    }
    said = [
        f"{len(book.teams)} team{'s' * (len(book.teams) != 1)}",
        f"{len(book.lines)} run{'s' * (len(book.lines) != 1)} listed",
        f"{counts['done'] + counts['answered']} analysed",
    ]
    if counts["answered"]:
        said.append(f"causes still to come for {counts['answered']}")
    if counts["failed"]:
        said.append(f"{counts['failed']} without an answer")
    if counts["listed"]:
        said.append(f"{counts['listed']} still to be filmed")
    return ", ".join(said)


def state_words(line: RunLine) -> str:
    """What has become of a run, in two words, by which the list can be sifted."""
    if line.status == "listed":
        return "to be filmed"
    if line.status == "failed" and not line.winner:
        return "no answer"
    if not line.winner:
        return "no winner" if line.kind == "match" else "practice"
    return "decided" if line.sure else "not surely"


def list_states(book: ClassBook) -> tuple[str, ...]:
    """What has become of the book's runs, each once, the most frequent first."""
    return tuple(state for state, _ in Counter(state_words(line) for line in book.lines).most_common())


def summary_words(book: ClassBook) -> str:
    """All runs in a line, above the list of them."""
    if not book.lines:
        return "No run is listed"
    counts = Counter(state_words(line) for line in book.lines)
    runs = "The only run" if len(book.lines) == 1 else f"All {len(book.lines)} runs"
    return f"{runs}: " + ", ".join(f"{count} {state}" for state, count in counts.most_common())


def won_against(book: ClassBook) -> Mapping[str, tuple[tuple[int, int], ...]]:
    """Of each team, how many decided runs it won of how many against each team, in the order of the standings.

    Empty where fewer than three teams have met, which the standings tell as well, or more than fit side by side.
    """
    teams = [one.team for one in book.standings]
    if not MOST_TEAMS >= len(teams) > 2:
        return {}
    decided = [line for line in book.lines if line.counts and line.winner and len(line.teams) == 2]
    met = Counter(frozenset(line.teams) for line in decided)
    won = Counter((line.winner, frozenset(line.teams)) for line in decided)
    pairs = {team: [frozenset((team, other)) for other in teams] for team in teams}
    return {team: tuple((won[team, pair], met[pair]) for pair in row) for team, row in pairs.items()}


def weight_words(weight: int) -> str:
    """How grave a doubt is."""
    return _WEIGHTS[weight]


def outcome_words(line: RunLine) -> str:
    """Who won, and by how much."""
    if line.status == "listed":
        return "to be filmed"
    if line.status == "failed" and not line.winner:
        return "no answer"
    if not line.winner:
        return "no winner" if line.kind == "match" else line.kind
    if line.winner != line.measured_winner:
        return f"{line.winner} (as decided)"
    return f"{line.winner} by {told(line.margin_m, 1.96 * line.u_margin_m, 'm')}{'' if line.sure else ', not surely'}"


def cause_words(line: RunLine | Upset) -> str:
    """The likeliest cause, with its chance."""
    if not line.cause:
        return ""
    return f"{cause_phrase(line.cause)}, {100 * line.cause_probability:.0f} %"


def chance_words(chance: float) -> str:
    """A chance in per cent, with one digit more where it is small."""
    if not math.isfinite(chance):
        return "–"
    return f"{100 * chance:.1f} %" if 0.001 <= chance < 0.1 else format_chance(chance)


def event_words(kind: str) -> str:
    """An event kind in words."""
    return EVENT_WORDS.get(kind, kind)


def rate_words(one: Reliability) -> str:
    """The true rate that so many good runs show, in short."""
    return f"{100 * one.low:.0f} to {100 * one.high:.0f} %" if one.runs else "not known"


def needed_words(one: Reliability) -> str:
    """How many more runs without a failure would show 90 %, in short."""
    if one.runs == 0:
        return "–"
    return "shown" if one.needed == 0 else str(one.needed)


def reliability_words(one: Reliability) -> str:
    """What so many good runs show, in a sentence's end."""
    if one.runs == 0:
        return "no run yet could be judged"
    rate = f"true rate between {100 * one.low:.0f} % and {100 * one.high:.0f} % (95 %)"
    if one.needed == 0:
        return f"{rate}; 90 % is shown at 90 % confidence"
    return f"{rate}; {one.needed} more without a failure would show 90 % at 90 % confidence"


def spread_words(spread: Spread) -> str:
    """How many times as large as stated a team's errors are."""
    return f"{spread.rms_zeta:.1f} ×" if math.isfinite(spread.rms_zeta) else "–"


def honesty_words(spread: Spread) -> str:
    """Whether a team's uncertainties are too small or too large, as far as so many numbers can tell."""
    if spread.count < 3 or not math.isfinite(spread.rms_zeta):
        return "too few numbers to say"
    # The scatter of a root mean square over n independent runs is 1/√(2n) of it.
    margin = 2 / math.sqrt(2 * max(spread.runs, 1))
    if spread.rms_zeta > 1 + margin:
        return "too sure"
    return "too careful" if spread.rms_zeta < 1 - margin else "as stated"


def coverage_words(rows: Sequence[Coverage]) -> str:
    """How many of the 95 % intervals held."""
    at_95 = [row for row in rows if row.stated == 0.95]
    if not at_95:
        return "No forecast with a stated uncertainty has been measured yet."
    row = at_95[0]
    runs = "1 run" if row.runs == 1 else f"{row.runs} runs"
    share = f"{100 * row.inside:.0f} %"
    said = f"Of {row.count} predicted numbers in {runs} {share} lay inside their stated 95 % intervals"
    if row.high < 0.95:
        return f"{said}: the class is surer than it should be."
    if row.low > 0.95:
        return f"{said}: the class is more careful than it need be."
    bounds = f"{100 * row.low:.0f} % to {100 * row.high:.0f} %"
    return f"{said}: no contradiction (with so few runs {bounds} could be the truth)."
