"""What the judge of a protest needs on one page: the rule as applied, what counted, when, and how surely."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from matchvision.records.events import Event
from matchvision.records.results import Analysis, Ruling
from matchvision.records.tracks import TrackState
from matchvision.report.byhand import tell_mends, tell_settings
from matchvision.report.continuity import look_for_cuts
from matchvision.report.readings import COVERAGE, match_times, rope_middle, ruled_rope
from matchvision.report.topview import rope_polylines, split_at_line
from matchvision.report.wording import moment, quantity, rule_words, sentence

#: Events that a judge asks about beside touches and an early start.
_ASKED_ABOUT: Final = ("rope-off", "off-table", "tipped", "contact", "blocked", "dislodged", "lead-change")

#: More mends than this stand in the report only, so that the sheet stays one page.
MOST_MENDS: Final = 6

#: A heading and the sentences below it.
Facts = tuple[str, tuple[str, ...]]


def rule_facts(analysis: Analysis) -> tuple[Facts, ...]:
    """Everything on the ruling sheet that is said in sentences, in order."""
    against = tuple(_contradictions(analysis))
    return (
        ("The rule as applied", tuple(_rule(analysis))),
        ("What was measured, and whether it decides", tuple(_margin(analysis))),
        *((("Where the footage contradicts the sheet", against),) if against else ()),
        ("Which rope counted", tuple(_rope(analysis))),
        ("The clock as seen", tuple(_clock(analysis))),
        ("Before the start", tuple(_early(analysis))),
        ("Hands and other things that happened", tuple(dict.fromkeys(_touches(analysis)))),
        ("Set or corrected by hand", tuple(_by_hand(analysis))),
        ("The clip", tuple(_clip(analysis))),
    )


def _rule(analysis: Analysis) -> Iterator[str]:
    yield rule_words(analysis)


def _margin(analysis: Analysis) -> Iterator[str]:
    ruling = analysis.verdict.ruling
    if ruling is None or not math.isfinite(ruling.margin_m):
        yield sentence(
            ruling.sentence if ruling is not None else "Nothing was measured that a rule could be applied to"
        )
        return
    yield sentence(ruling.sentence)
    half = COVERAGE * ruling.u_margin_m
    if half > 0:
        times = abs(ruling.margin_m) / half
        if any(not one.covered for one in ruling.doubts):
            yield _tell_doubted(ruling)
        elif ruling.sure:
            yield f"It decides: the margin is {times:.3g} times the half width of its 95 % interval."
        elif times > 1:
            yield "It does not decide: who has won is not known to 97.5 %. This measurement alone carries no ruling."
        else:
            yield (
                f"It does not decide: the margin is only {times:.2g} times the half width of its 95 % interval. This "
                "measurement alone cannot carry a ruling."
            )
    turned_s = _last_level(analysis)
    if turned_s is not None:
        yield (f"Until {turned_s:.2f} s the rule would have given another result, from then on this one to the end.")


def _tell_doubted(ruling: Ruling) -> str:
    """What contradictions that no uncertainty covers do to the margin."""
    far = (
        f"by up to {1000 * ruling.shift_m:.0f} mm more than its interval says"
        if math.isfinite(ruling.shift_m)
        else "by more than its interval says, nothing tells how far"
    )
    does = "It decides all the same" if ruling.sure else "It does not decide, and cannot carry a ruling"
    return f"By what the footage contradicts the margin may be off {far}. {does}."


def _contradictions(analysis: Analysis) -> Iterator[str]:
    ruling = analysis.verdict.ruling
    for one in () if ruling is None else ruling.doubts:
        yield f"{one.key}: {sentence(one.shown)} {sentence(one.do)}"


def _last_level(analysis: Analysis) -> float | None:
    """Match time at which the winner's rope last came to exceed the share to win; None where that is not known."""
    ruling, rope = analysis.verdict.ruling, analysis.motion.rope
    if ruling is None or ruling.winner is None or rope is None or analysis.run.sheet.rules.decide != "rope-share":
        return None
    plus = rope.on_plus_x_m / (rope.on_plus_x_m + rope.on_minus_x_m)
    t_s = match_times(analysis)
    during = np.flatnonzero((t_s >= 0) & (t_s <= ruling.decided_at_s) & np.isfinite(plus))
    if len(during) == 0:
        return None
    at_end = float(plus[during[-1]])
    share = plus if at_end >= 0.5 else 1 - plus
    short = during[share[during] <= analysis.run.sheet.rules.share_to_win]
    return float(t_s[short[-1]]) if len(short) else None


def _rope(analysis: Analysis) -> Iterator[str]:
    rope, sheet = analysis.motion.rope, analysis.run.sheet.rope
    if rope is None or sheet is None:
        yield "The rope was not measured."
        return
    yield (
        f"The rope between the hitches of {sheet.ends[0]} and {sheet.ends[1]}, {sheet.length_m:.3f} m by the sheet, as "
        "it lies: link and stretch are in it, bows and crossings are followed. A tail behind a hitch is not in it; "
        "rope wound up on a machine is not told from rope that lies there."
    )
    at = _deciding_frame(analysis)
    total, u_total = rope.total_m[at], rope.u_total_m[at]
    if math.isfinite(total):
        slack = {0.0: ", taut", 1.0: ", slack"}.get(float(rope.slack[at]), "")
        yield f"When the clock stopped it measured {quantity(float(total), float(u_total), 'm')}{slack}."
    columns = [k for k, plan in enumerate(analysis.motion.tracks.plans) if plan.kind in ("bead", "link", "end")]
    if columns:
        states = analysis.motion.tracks.state[at, columns]
        count = {state: int((states == state).sum()) for state in TrackState}
        seen, hidden = count[TrackState.SEEN] + count[TrackState.TIED], count[TrackState.LOST]
        said = (
            f"Of its {len(columns)} marks {seen} were seen then, {count[TrackState.BRIDGED]} carried over a short gap"
        )
        said += f", {count[TrackState.SET]} set by hand" if count[TrackState.SET] else ""
        said += f", {hidden} hidden"
        between = "; what is hidden is placed between its neighbours, with what that leaves unsure" if hidden else ""
        yield f"{said}{between}."
    pieces = split_at_line(rope_polylines(analysis, np.array([at]))[0])
    crossings = max(0, len(pieces["minus"]) + len(pieces["plus"]) - 1)
    if crossings > 1:
        yield f"It crossed the centre line {crossings} times; the pieces were summed by side."


def _deciding_frame(analysis: Analysis) -> int:
    """The picture nearest to when the clock stopped, which is told of even where a mark had decided before."""
    return int(np.abs(match_times(analysis) - analysis.clock.duration_s).argmin())


def _clock(analysis: Analysis) -> Iterator[str]:
    clock, t_s = analysis.clock, match_times(analysis)
    start = quantity(clock.start_clip_s, clock.u_start_s, "s") if clock.u_start_s > 0 else f"{clock.start_clip_s:.3f} s"
    off_ms = 1000 * float(np.abs(t_s).min())
    yield (
        f"Start at {start} of the clip: {clock.source}; the nearest picture lies {off_ms:.0f} ms off. End after "
        f"{clock.duration_s:g} s by the sheet, at {clock.end_clip_s:.3f} s of the clip."
    )
    moved = [e for e in _events(analysis) if e.kind == "first-motion"]
    if moved:
        told = "; ".join(f"{e.machine} {quantity(e.start_s, e.u_start_s, 's')}" for e in moved)
        yield f"First motion as seen, after the start: {told}."
    rope = analysis.motion.rope
    if rope is None:
        return
    speed_m_s = float(rope.speed_m_s[_deciding_frame(analysis)])
    if math.isfinite(speed_m_s):
        moves = f"The rope moved at {1000 * abs(speed_m_s):.0f} mm/s when the clock stopped"
        if analysis.run.sheet.rules.decide == "rope-share":
            moves += f": 0.1 s earlier or later would change the margin by {100 * abs(speed_m_s):.1f} mm"
        yield f"{moves}."


def _events(analysis: Analysis) -> tuple[Event, ...]:
    return () if analysis.grip is None else analysis.grip.events


def _early(analysis: Analysis) -> Iterator[str]:
    if analysis.grip is None:
        yield "Not looked for."
        return
    found = [e for e in _events(analysis) if e.kind == "early-start"]
    for event in found:
        when = quantity(event.start_s, event.u_start_s, "s")
        yield f"{event.machine} moved early, at {when} of the match clock ({_sure(event)}). {sentence(event.evidence)}"
    before_s = -float(match_times(analysis)[0])
    shown = (
        f"The clip shows {before_s:.2f} s before the start." if before_s > 0 else "The clip shows nothing before it."
    )
    yield shown if found else f"No machine was seen to move or drive before the start. {shown}"
    limit_s = analysis.run.sheet.rules.setup_limit_s
    if limit_s is not None:
        yield f"The sheet allows {limit_s:g} s for setting up. {_set_up(analysis, before_s)}"


def _set_up(analysis: Analysis, before_s: float) -> str:
    """How long hands were over the table before the start, as far as the clip goes back."""
    hands = [e for e in _events(analysis) if e.kind == "touch" and e.start_s < 0]
    if not hands:
        return "No hand was seen over the table before the start: the clip does not tell how long it took."
    begin_s, end_s = min(e.start_s for e in hands), max(min(e.end_s, 0.0) for e in hands)
    # A hand that is there in the first picture may have been there for long.
    least = "at least " if begin_s <= 0.2 - before_s else ""
    u_s = hands[0].u_start_s
    took = quantity(end_s - begin_s, u_s, "s")
    return f"Hands were over the table for {least}{took}, the last until {-end_s:.1f} s before the start."


def _touches(analysis: Analysis) -> Iterator[str]:
    if analysis.grip is None:
        yield "Not looked for."
        return
    end_s = analysis.clock.duration_s
    hands = [e for e in _events(analysis) if e.kind == "touch" and e.start_s <= end_s and not e.end_s < 0]
    for event in hands:
        when = moment(event.start_s)
        if math.isfinite(event.end_s):
            when = f"{when.removesuffix(' s')} to {moment(event.end_s)}"
        yield f"A hand was over the table from {when} ({_sure(event)}). {sentence(event.evidence)}"
    if not hands:
        yield (
            "No hand was seen over the table while the clock ran. Where machines and rope were, and outside the "
            "picture, none would be seen."
        )
    words = {
        "rope-off": "the rope came off", "off-table": "off the table", "tipped": "tipped over", "contact": "contact",
        "blocked": "blocked", "dislodged": "anchor let go", "lead-change": "the lead changed to",
    }  # fmt: skip
    others = [e for e in _events(analysis) if e.kind in _ASKED_ABOUT and 0 <= e.start_s <= end_s]
    if others:
        told = "; ".join(f"{words[e.kind]}{_who(e)} at {e.start_s:.2f} s" for e in others)
        yield sentence(f"also found: {told}")


def _who(event: Event) -> str:
    if event.kind == "lead-change":
        return f" {event.machine or 'the other side'}"
    return f" ({event.machine})" if event.machine else ""


def _sure(event: Event) -> str:
    return f"{100 * event.probability:.0f} % sure" if math.isfinite(event.probability) else "sureness not known"


def _by_hand(analysis: Analysis) -> Iterator[str]:
    told = tell_settings(analysis)
    yield sentence(f"set in the sheet: {', '.join(told)}") if told else "Nothing was set in the sheet by hand."
    mends = tell_mends(analysis)
    if not mends:
        yield "No track was cut, tied, struck or set by hand."
        return
    yield f"{len(mends)} mend{'s' if len(mends) > 1 else ''} of the tracking by hand:"
    for mend in mends[:MOST_MENDS]:
        yield f"{mend.words} ({mend.at_s:.2f} s{', ' + mend.why if mend.why else ''})."
    if len(mends) > MOST_MENDS:
        yield f"And {len(mends) - MOST_MENDS} more, all listed in the report."


def _clip(analysis: Analysis) -> Iterator[str]:
    clip, cuts = analysis.clip, look_for_cuts(analysis)
    yield (
        f"{clip.path.name}, {clip.width_px} × {clip.height_px} px, {len(analysis.motion.frame)} pictures used, "
        f"{clip.duration_s:.2f} s. SHA-256 {clip.sha256}."
    )
    steps = (
        f"pictures follow each other every {1000 * cuts.median_step_s:.1f} ms, at most {1000 * cuts.longest_step_s:.1f}"
    )
    if cuts.unbroken:
        jump = f"; no common jump of the markers beyond {1000 * max(cuts.greatest_m, 0.0):.1f} mm" * math.isfinite(
            cuts.greatest_m
        )
        yield (
            f"No sign of a cut while the clock ran: {steps} ms{jump}. The clip runs from {cuts.before_s:.2f} s before "
            f"the start to {cuts.after_s:.2f} s after the end. A careful forgery is not excluded by this."
        )
        return
    if cuts.gaps_s:
        yield f"Pictures are missing while the clock ran, after {_times(cuts.gaps_s)}: {steps} ms."
    if cuts.jumps_s:
        yield f"All markers jump together at {_times(cuts.jumps_s)}, as where a clip is cut. Ask for the original."
    if cuts.before_s < 0:
        yield f"The clip begins {-cuts.before_s:.2f} s after the start of the match."
    if cuts.after_s < 0:
        yield f"The clip ends {-cuts.after_s:.2f} s before the end of the match."


def _times(times_s: tuple[float, ...]) -> str:
    shown = ", ".join(f"{time_s:.2f} s" for time_s in times_s[:4])
    return shown + (f" and {len(times_s) - 4} more" if len(times_s) > 4 else "")


def margin_drawing(analysis: Analysis) -> tuple[str, tuple[float, float], float] | None:
    """The margin on the drawn rope: its path, the places of both bars and the height of their middle [mm on the page].

    None where there is no rope, or nobody leads by it.
    """
    rope = analysis.motion.rope
    if rope is None or analysis.run.sheet.run.kind != "match":
        return None
    at = _deciding_frame(analysis)
    line = rope_polylines(analysis, np.array([at]))[0]
    ruled = ruled_rope(analysis, at)
    middle, u_middle = (float(column[at]) for column in rope_middle(rope)) if ruled is None else ruled[0]
    if len(line) < 2 or not (math.isfinite(middle) and math.isfinite(u_middle)):
        return None
    xs, ys = np.array(line).T
    order = np.argsort(xs)
    across = np.interp([0.0, middle], xs[order], ys[order])
    path = f"M0 {-1000 * across[0]:.0f}L{1000 * middle:.1f} {-1000 * across[1]:.0f}"
    half = COVERAGE * u_middle
    return path, (1000 * (middle - half), 1000 * (middle + half)), -1000 * float(across[1])
