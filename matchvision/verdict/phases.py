"""The phases of a run, from its events: reaching out, the first pull, the contest, the hold."""

import math
from typing import Final

import numpy as np

from matchvision.records.events import Event, Grip
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.results import Phase

#: Events that show a machine at its limit, or that something gave way: with the first of them the contest begins.
LIMIT_KINDS: Final = (
    "slip", "spin", "dragged", "stall", "held", "anchor-creep", "dislodged", "drive-loss", "turned", "blocked",
    "lifted",
)  # fmt: skip
#: Events of a machine that stands and pulls.
STANDING_KINDS: Final = ("stall", "held", "blocked")
#: A phase shorter than this is not told apart: nothing settles in it.
LEAST_S: Final = 0.25


def find_phases(motion: Motion, grip: Grip | None, clock: MatchClock) -> tuple[Phase, ...]:
    """The phases of a run that were passed through, in order of time; without events the whole run is the first pull.

    *reach*: from the start until the arms are out and the rope is taut and moves. *first-pull*: from then until the
    first event that shows a machine at its limit (slip, stall, drag, an anchor that creeps, lost drive …). *contest*:
    from then until the last standstill begins, or the end. *hold*: a standstill that lasts to the end. A rope that came
    off ends the last of them. Phases under 0.25 s belong to the one before.

    Notes
    -----
    Checked by: tests/verdict/test_phases.py::test_a_whole_match_has_four_phases
    """
    events = () if grip is None else tuple(sorted(grip.events, key=lambda event: event.start_s))
    last_s = min(clock.duration_s, float(clock.match_time(motion.clip_s)[-1]))
    off = next((e for e in events if e.kind == "rope-off" and 0 < e.start_s < last_s), None)
    end_s, ended = (last_s, "the clock stopped") if off is None else (off.start_s, "the rope came off")
    if not end_s > 0:
        return ()
    reached_s, reached = _reached(motion, clock, events)
    first = next((e for e in events if e.kind in LIMIT_KINDS and reached_s < e.start_s < end_s - LEAST_S), None)
    standing = None if off is not None else _last_standing(events, reached_s, end_s)
    limit_s, limit = (end_s, ended) if first is None else (first.start_s, _name(first))
    hold_s, hold = (end_s, ended) if standing is None else (max(standing.start_s, limit_s), _name(standing))
    edges = ((0.0, "the start"), (reached_s, reached), (limit_s, limit), (hold_s, hold), (end_s, ended))
    return _between(edges)


def _reached(motion: Motion, clock: MatchClock, events: tuple[Event, ...]) -> tuple[float, str]:
    """When everything is out and the rope pulls, and what says so."""
    told = [(0.0, "the start")]
    arms = [e for e in events if e.kind == "reach-out" and e.start_s >= -LEAST_S]
    told += [(e.end_s if math.isfinite(e.end_s) else e.start_s, f"the arm of {e.machine} was out") for e in arms]
    rope = motion.rope
    if rope is not None:
        t_s = clock.match_time(motion.clip_s)
        known = np.flatnonzero((t_s >= 0) & np.isfinite(rope.slack))
        taut = known[rope.slack[known] < 0.5]
        if len(taut) and taut[0] != known[0]:
            told.append((float(t_s[taut[0]]), "the rope was taut"))
    moved = next((e for e in events if e.kind == "first-motion" and e.start_s > 0), None)
    if moved is not None and len(told) == 1:
        told.append((moved.start_s, "something moved"))
    return max(told)


def _last_standing(events: tuple[Event, ...], after_s: float, end_s: float) -> Event | None:
    """The standstill that lasts to the end; of several the one that began last, when both sides stand."""
    lasting = [
        e for e in events
        if e.kind in STANDING_KINDS and after_s < e.start_s < end_s - LEAST_S
        and not e.end_s < end_s - LEAST_S
    ]  # fmt: skip
    return max(lasting, key=lambda event: event.start_s, default=None)


def _name(event: Event) -> str:
    return f"{event.kind} of {event.machine}" if event.machine else event.kind


def _between(edges: tuple[tuple[float, str], ...]) -> tuple[Phase, ...]:
    """Phases between edges; one that is too short is joined to the one before, or to the next where it is the first."""
    phases: list[Phase] = []
    waiting: tuple[float, str] | None = None
    for name, (from_s, since), (until_s, until) in zip(
        ("reach", "first-pull", "contest", "hold"), edges[:-1], edges[1:], strict=True
    ):
        if until_s - from_s >= LEAST_S:
            begin, began = (from_s, since) if waiting is None else waiting
            phases.append(Phase(name, begin, until_s, f"from {began} until {until}"))
            waiting = None
        elif phases and until_s > from_s:
            before = phases.pop()
            began = before.evidence.split(" until ")[0]
            phases.append(Phase(before.phase, before.from_s, until_s, f"{began} until {until}"))
        elif until_s > from_s:
            waiting = waiting or (from_s, since)
    return tuple(phases)
