"""Who has won, by the event's own rules, and how surely."""

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np
from scipy.special import ndtr

from matchvision.arrays import FloatArray
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.results import Ruling, Winning
from matchvision.records.sheet import Run
from matchvision.uncertainty import (
    K_95,
    Chances,
    beyond_share,
    chances_by_line,
    chances_by_share,
    format_chance,
    format_interval,
    share_of_whole,
    window_mean,
)
from matchvision.verdict.reading import NEAR_S, read_at

NAN = math.nan
#: A mark's place is a mean over this long.
MARK_OVER_S = 0.2
#: A mark that is hidden for so long may have passed a line unseen.
HIDDEN_S = 0.5
#: A result is sure that has this probability: where the share to win is one half, of a margin beyond its 95 % interval.
SURE = float(ndtr(K_95))
Side = Literal["-x", "+x"]


def rule(run: Run, motion: Motion, clock: MatchClock) -> Ruling:
    """The ruling when the clock stops. A load run has no winner, nor has a clip that does not show the end.

    Notes
    -----
    Checked by: tests/verdict/test_judging.py::test_winner_and_margin_of_the_sample_clips
    """
    if run.sheet.run.kind != "match":
        return _no_winner(f"A {run.sheet.run.kind} run has no winner.", clock)
    homes = find_homes(run, motion, clock)
    if set(homes) != {"-x", "+x"}:
        return _no_winner("No winner can be named, since the sheet does not say who pulls to which side.", clock)
    if run.sheet.rules.decide == "mark-past-line":
        return rule_by_mark(run, motion, clock, homes)
    return rule_by_share(run, motion, clock, homes)


def find_homes(run: Run, motion: Motion, clock: MatchClock) -> Mapping[Side, str]:
    """Who must bring the rope to which side: the machines' homes; without machines, the side where each end starts."""
    homes: dict[Side, str] = {machine.home: name for name, machine in run.sheet.machine.items()}
    if homes or run.sheet.rope is None:
        return homes
    plans = motion.tracks.plans
    on_rope = sorted((k for k, plan in enumerate(plans) if plan.kind in ("bead", "end")), key=lambda k: plans[k].arc_m)
    at_start = int(np.abs(clock.match_time(motion.clip_s)).argmin())
    x_m = motion.places.x_m[at_start, on_rope]
    x_m = x_m[np.isfinite(x_m)]
    if len(x_m) < 2:
        return {}
    first, last = run.sheet.rope.ends
    return {"-x": first, "+x": last} if x_m[0] < x_m[-1] else {"-x": last, "+x": first}


def rule_by_share(run: Run, motion: Motion, clock: MatchClock, homes: Mapping[Side, str]) -> Ruling:
    """The larger share of the rope as it lies wins, if it exceeds the share to win."""
    to_win = run.sheet.rules.share_to_win
    if motion.rope is None:
        return _no_winner("No winner can be named, since the rope was not seen.", clock)
    rope, t_s = motion.rope, clock.match_time(motion.clip_s)
    plus_m, u_plus_m = read_at(rope.on_plus_x_m, rope.u_on_plus_x_m, t_s, clock.duration_s)
    minus_m, u_minus_m = read_at(rope.on_minus_x_m, rope.u_on_minus_x_m, t_s, clock.duration_s)
    if not (np.isfinite(plus_m) and np.isfinite(minus_m)):
        return _no_winner(_say_missing("The rope", motion, clock), clock)
    side: Side = "+x" if plus_m >= minus_m else "-x"
    sides = (plus_m, u_plus_m, minus_m, u_minus_m) if side == "+x" else (minus_m, u_minus_m, plus_m, u_plus_m)
    _, u_whole_m = read_at(rope.total_m, rope.u_total_m, t_s, clock.duration_s)
    margin_m, u_margin_m = (float(number) for number in beyond_share(*sides, to_win, u_whole_m))
    share, u_share = (float(number) for number in share_of_whole(*sides, u_whole_m))
    leader = homes[side]
    chances = chances_by_share((minus_m, u_minus_m), (plus_m, u_plus_m), to_win, u_whole_m)
    # Where less than half wins both sides may have it, and the larger share is the one beyond half.
    lead_m, u_lead_m = (float(number) for number in beyond_share(*sides, max(to_win, 0.5), u_whole_m))
    winning = _by_machine(chances, homes, abs(lead_m), u_lead_m)
    winner = leader if margin_m > 0 else None
    sure = _has_won(winner, winning) >= SURE
    at = f"when the clock stopped at {clock.duration_s:g} s"
    held = f"{leader} held {format_interval(100 * share, 100 * u_share, '%')} of the rope {at}"
    beyond = f"{format_interval(1000 * abs(margin_m), 1000 * u_margin_m, 'mm')} (95 %)"
    far = f"{held}, {beyond} {'beyond' if winner else 'short of'} the {100 * to_win:g} % that win."
    sentence = f"{winner or 'Nobody'} has won: {far}" if sure else f"Too close to call: {far} {_say(winner, winning)}"
    return Ruling(
        winner, margin_m, u_margin_m, sure, sentence.rstrip(), share, u_share, clock.duration_s, winning=winning
    )  # fmt: skip


def rule_by_mark(run: Run, motion: Motion, clock: MatchClock, homes: Mapping[Side, str]) -> Ruling:
    """The side wins past whose line the mark comes first, before the clock stops. ``share`` means nothing here: NaN.

    The margin is how far beyond that line the mark then went; without a winner, how far short of a line it stayed.

    Notes
    -----
    Places are means over `MARK_OVER_S`, as sure as one of them: the farthest of many noisy places is no passing. A mark
    that was hidden for longer than `HIDDEN_S` before may have passed a line unseen.
    Checked by: tests/verdict/test_judging.py::test_the_first_line_that_the_mark_passes_decides
    """
    mark, line_m = run.sheet.rules.mark, run.sheet.rules.line_m
    if mark is None or line_m is None:
        return _no_winner('No winner can be named: [rules] decide = "mark-past-line" needs mark and line_m.', clock)
    if mark not in motion.tracks.names:
        return _no_winner(f"No winner can be named, since the mark {mark} is not among the tracked markers.", clock)
    column, t_s = motion.tracks.names.index(mark), clock.match_time(motion.clip_s)
    x_m, u_m = window_mean(motion.places.x_m[:, column], t_s, MARK_OVER_S), motion.places.u_x_m[:, column]
    seen = np.flatnonzero((t_s >= 0) & (t_s <= clock.duration_s) & np.isfinite(x_m) & np.isfinite(u_m))
    at_s, x_m, u_m = t_s[seen], x_m[seen], u_m[seen]
    passed = np.flatnonzero(np.abs(x_m) > line_m)
    if not len(passed) and (not len(seen) or at_s[-1] < clock.duration_s - NEAR_S):
        return _no_winner(_say_missing(f"The mark {mark}", motion, clock), clock)
    first = int(passed[0]) if len(passed) else len(seen) - 1
    sign = np.sign(x_m[first]) if len(passed) else np.sign(x_m[np.argmax(np.abs(x_m))])
    beyond_m = sign * x_m - line_m
    most = int(np.argmax(np.where(np.arange(len(seen)) >= (first if len(passed) else 0), beyond_m, -np.inf)))
    margin_m, u_margin_m = float(beyond_m[most]), float(u_m[most])
    told, dark = _told_by_mark(at_s, x_m, u_m, line_m, clock.duration_s)
    leader = homes["+x" if sign > 0 else "-x"]
    winner = leader if len(passed) else None
    others_m = float((line_m + sign * x_m[: first + 1]).min())
    lead_m = min(abs(margin_m), others_m) if len(passed) else abs(margin_m)
    winning = None if told is None else _by_machine(told, homes, lead_m, u_margin_m)
    sure = winning is not None and _has_won(winner, winning) >= SURE
    far = f"{format_interval(1000 * abs(margin_m), 1000 * u_margin_m, 'mm')} (95 %)"
    # What is not sure is told with its chances, or with why there are none.
    more = "" if sure else f" {dark if winning is None else _say(winner, winning)}".rstrip()
    said = f"{winner or 'Nobody'} has won: " if sure else "Too close to call: "
    if not len(passed):
        sentence = f"{said}the mark {mark} passed no line; it stayed {far} short of that of {leader}.{more}"
        return Ruling(None, margin_m, u_margin_m, sure, sentence, NAN, NAN, clock.duration_s, winning=winning)
    before = max(first - 1, 0)
    rise_m = beyond_m[first] - beyond_m[before]
    part = float(np.clip(-beyond_m[before] / rise_m, 0.0, 1.0)) if rise_m > 0 else 1.0
    decided_s = float(at_s[before] + part * (at_s[first] - at_s[before]))
    whose = "its line" if sure else f"the line of {leader}"
    sentence = f"{said}the mark {mark} passed {whose} at {decided_s:.2f} s, and went {far} beyond it.{more}"
    return Ruling(winner, margin_m, u_margin_m, sure, sentence, NAN, NAN, decided_s, winning=winning)


def _told_by_mark(
    at_s: FloatArray, x_m: FloatArray, u_m: FloatArray, line_m: float, end_s: float
) -> tuple[Chances | None, str]:
    """Who has won by the mark, None where it was hidden before anybody surely had, and when it was hidden, in words."""
    gaps_s = np.diff(np.concatenate([[0.0], at_s, [end_s]]))
    hidden = np.flatnonzero(gaps_s >= np.append(np.full(len(at_s), HIDDEN_S), NEAR_S))
    if not len(hidden):
        return chances_by_line(x_m, u_m, line_m), ""
    until = int(hidden[0])
    from_s = float(at_s[until - 1]) if until else 0.0
    dark = f"It was hidden for {gaps_s[until]:.1f} s from {from_s:.2f} s on, in which nothing is known."
    if not until:
        return None, dark
    seen = chances_by_line(x_m[:until], u_m[:until], line_m)
    return (seen if max(seen.minus, seen.plus) >= SURE else None), dark


def _by_machine(chances: Chances, homes: Mapping[Side, str], lead_m: float, u_lead_m: float) -> Winning | None:
    if not math.isfinite(chances.minus + chances.plus):
        return None
    return Winning({homes["-x"]: chances.minus, homes["+x"]: chances.plus}, chances.nobody, lead_m, u_lead_m)


def _has_won(winner: str | None, winning: Winning | None) -> float:
    """Probability of a result as it was ruled; 0 where nothing tells it."""
    if winning is None:
        return 0.0
    return winning.nobody if winner is None else winning.by_machine[winner]


def _say(winner: str | None, winning: Winning | None) -> str:
    """How likely a result is that is not sure, and what else it may be, where that has half a per cent at least."""
    if winning is None:
        return ""
    others = {name: p for name, p in winning.by_machine.items() if name != winner}
    if winner is not None:
        others["nobody"] = winning.nobody
    others = {name: p for name, p in others.items() if p >= 0.005}
    ahead = f"{winner} is ahead" if winner else "It is nobody"
    chance = f"{ahead} with a probability of {format_chance(_has_won(winner, winning))}"
    if len(others) == 1:
        return f"{chance}, else it is {next(iter(others))}."
    return f"{chance}, else it is " + " or ".join(f"{name} ({format_chance(p)})" for name, p in others.items()) + "."


def _no_winner(sentence: str, clock: MatchClock) -> Ruling:
    return Ruling(None, NAN, NAN, False, sentence, NAN, NAN, clock.duration_s)


def _say_missing(what: str, motion: Motion, clock: MatchClock) -> str:
    last_s = float(clock.match_time(motion.clip_s)[-1])
    if last_s < clock.duration_s - 0.1:
        return (
            f"No winner can be named: the clip ends at {last_s:.2f} s of the match, before the clock stops at "
            f"{clock.duration_s:g} s. Film on for a second after the end."
        )
    return (
        f"No winner can be named: {what[0].lower() + what[1:]} was not seen when the clock stopped at "
        f"{clock.duration_s:g} s. Keep hands and people out of the picture at the end."
    )
