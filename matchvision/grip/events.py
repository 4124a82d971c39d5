"""The grip stage: wheel states and everything that happened, in order of time."""

from collections import Counter
from dataclasses import replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from matchvision.grip.anchors import find_break_away, find_creep
from matchvision.grip.arms import find_reach
from matchvision.grip.beforehand import describe_setting_up, find_early_wheels, hands_off, idle_machines
from matchvision.grip.contact import find_contacts, touching_frames
from matchvision.grip.drive import drive_share, find_drive_loss, find_side_loss
from matchvision.grip.lifting import find_lifting, leaned_when_told
from matchvision.grip.mapping import belonging, map_grip
from matchvision.grip.moves import find_first_motion, find_holding, find_leaving, find_turning
from matchvision.grip.onset import base_course, unseen_way
from matchvision.grip.rope import describe_longer_cords, find_lead_changes, find_rope_off
from matchvision.grip.slip import name_states
from matchvision.grip.touch import find_touches
from matchvision.grip.turning import add_lateral_pull
from matchvision.grip.wheels import new_ones, watch_wheels, wheel_events
from matchvision.records.events import Event, Grip
from matchvision.records.foreign import ForeignLook
from matchvision.records.gripmap import GripMap
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull, PullSource
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run

#: Slip and stall are looked for from just before the start to just after the end: beyond that hands are at work.
AROUND_S: Final = 0.5
#: Kinds of sliding.
SLIDES: Final = {"slip", "spin", "dragged"}
#: What can only be said of a machine that stands on its wheels.
OF_A_STANDING_MACHINE: Final = {"slip", "spin", "dragged", "stall", "turned", "lifted", "blocked", "drive-loss"}


def find_events(
    run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, foreign: ForeignLook | None = None
) -> tuple[Grip, StageNote]:
    """Wheel states and dated events, each with its probability and the numbers it rests on.

    Events that follow the end of the clock are not part of the run and left out; slip that began before and goes on
    is followed for half a second.
    """
    advice: list[str] = []
    longer: list[str] = []
    match_s = clock.match_time(motion.clip_s)
    around = (match_s >= -AROUND_S) & (match_s <= clock.duration_s + AROUND_S)
    touches = find_touches(run, motion, foreign, clock) if foreign is not None else None
    free, unseen_m = hands_off(match_s, touches), unseen_way(motion)
    watched = watch_wheels(run, motion, around)
    states = {(w.motion.machine, w.motion.wheel): name_states(w.motion, w.states) for w in watched}
    events: list[Event] = [*(touches or ()), *wheel_events(run, motion, pull, clock, watched)]
    unseen = unseen_wheels(run, motion)
    for name, moved in motion.machines.items():
        machine = run.sheet.machine[name]
        if machine.wheel and not any(wheel.rim for wheel in machine.wheel):
            advice.append(f"Two marks on the rim of a wheel of {name} would show when it slips.")
        events.extend(find_first_motion(moved, motion.real_s, clock, free, base_course(motion, moved), unseen_m))
        turns = find_turning(moved, motion.real_s, clock)
        events.extend(add_lateral_pull(turn, run.sheet, motion, usable_pull(pull), clock) for turn in turns)
        events.extend(find_leaving(moved, run.sheet.table, motion.real_s, clock))
        events.extend(find_side_loss(run, motion, moved, clock))
        events.extend(find_lifting(moved, machine, motion.real_s, clock, bodies_seen(motion, name)))
        if motion.rope is not None and (machine.anchor is not None or machine.brake is not None):
            events.extend(find_holding(moved, motion.rope, usable_pull(pull), motion.real_s, clock))
        if machine.anchor is not None:
            end = (
                run.sheet.rope.ends.index(name) if run.sheet.rope is not None and name in run.sheet.rope.ends else None
            )
            events.extend(find_creep(motion, moved, usable_pull(pull), clock))
            events.extend(find_break_away(motion, moved, usable_pull(pull), end, clock))
    events.extend(arm_events(run, motion, pull, clock, advice))
    events.extend(find_contacts(run.sheet, motion, clock))
    for traction in pull.traction if pull is not None else ():
        share = drive_share(run, motion, traction, clock)
        if share is not None:
            alone = replace(
                share, ratio=np.where(touching_frames(run.sheet, motion, share.machine), np.nan, share.ratio)
            )
            events.extend(new_ones(find_drive_loss(alone, motion.real_s, clock), events))
    if motion.rope is not None:
        events.extend(find_lead_changes(run.sheet, motion.rope, motion.real_s, clock, hitches_told(motion)))
        events.extend(find_rope_off(run.sheet, motion, usable_pull(pull), clock))
        longer.extend(describe_longer_cords(run.sheet, motion))
    for wheel in motion.wheels:
        events.extend(new_ones(find_early_wheels(wheel, motion.real_s, free, clock), events, once=True))
    advice.extend(
        f"The driven wheels of {name} never turned forward while the clock ran: see whether its trigger went off."
        for name in idle_machines(run, motion, events, clock)
    )
    setting_up, too_long = describe_setting_up(run, touches, float(match_s[0]))
    inside = [event for event in until_tipped(events) if event.start_s <= clock.duration_s]
    inside = [replace(e, frame=int(motion.frame[np.argmin(np.abs(match_s - e.start_s))])) for e in inside]
    inside.sort(key=lambda event: event.start_s)
    maps = map_grip(run, motion, pull, clock, watched)
    mapped = {one.machine for one in maps}
    advice.extend(
        f"A sprung link in the rope or a measured drive would show how much grip the wheels of {name} had, and where."
        for name in sorted({e.machine for e in inside if e.kind in SLIDES} - mapped)
    )
    grip = Grip(tuple(add_belonging(inside, maps)), states, tuple(maps))
    warnings = tuple(f"{wheel} could not be watched for slip, since its rim marks were not seen." for wheel in unseen)
    status: Literal["done", "partly"] = "partly" if unseen else "done"
    warnings = (*warnings, *longer, *([too_long] if too_long else []))
    said = describe_events(grip) + setting_up + "".join(f" {one.statement}" for one in maps if one.statement)
    return grip, StageNote("grip", status, said, warnings, tuple(advice))


def until_tipped(events: list[Event]) -> list[Event]:
    """Events without what a machine's wheels and heading seem to do once it has tipped over."""
    tipped_s = {e.machine: e.start_s for e in reversed(events) if e.kind == "tipped"}
    return [e for e in events if e.kind not in OF_A_STANDING_MACHINE or e.start_s <= tipped_s.get(e.machine, np.inf)]


def add_belonging(events: list[Event], maps: list[GripMap]) -> list[Event]:
    """Events with what the map of grip says added to each machine's first slide, where it is told."""
    said = {one.machine: text for one in maps if (text := belonging(one.tales))}
    done = []
    for event in events:
        more = said.pop(event.machine, "") if event.kind in SLIDES else ""
        done.append(replace(event, evidence=event.evidence + more))
    return done


def bodies_seen(motion: Motion, machine: str) -> npt.NDArray[np.int64]:
    """How many of a machine's own markers are seen in each frame (n,)."""
    own = [k for k, p in enumerate(motion.tracks.plans) if p.kind == "body" and p.machine == machine]
    return np.asarray(np.isfinite(motion.tracks.col_px[:, own]).sum(axis=1), dtype=np.int64)


def hitches_told(motion: Motion) -> npt.NDArray[np.bool_]:
    """Frames (n,) in which no machine is lost that leaned when it was last seen: where its hitch is nobody knows."""
    told = np.ones(len(motion.real_s), dtype=np.bool_)
    for moved in motion.machines.values():
        told &= np.isfinite(moved.x_m) | ~leaned_when_told(moved)
    return told


def usable_pull(pull: Pull | None) -> PullSource | None:
    """The fused pull, where it does not lean on the forecast."""
    fused = pull.source("fused") if pull is not None else None
    return fused if fused is not None and fused.independent else None


def arm_events(run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, advice: list[str]) -> list[Event]:
    """Arms that went out; what is said to whoever listed an arm that never did."""
    events: list[Event] = []
    for arm in motion.arms:
        found = find_reach(arm, motion.machines[arm.machine], motion.rope, usable_pull(pull), motion.real_s, clock)
        if not found and np.isfinite(arm.reach_m).any():
            advice.append(
                f"The arm of {arm.machine} did not go out while it was watched: see whether its trigger went off."
            )
        events.extend(found)
    return events


def unseen_wheels(run: Run, motion: Motion) -> list[str]:
    """Wheels with rim marks in the sheet whose slip is known in no frame."""
    seen = {(w.machine, w.wheel) for w in motion.wheels if np.isfinite(w.slip_speed_m_s).any()}
    marked = [(name, wheel.name) for name, machine in run.sheet.machine.items() for wheel in machine.wheel if wheel.rim]
    return [f"Wheel {wheel} of {name}" for name, wheel in marked if (name, wheel) not in seen]


def describe_events(grip: Grip) -> str:
    """How many of which kind, and whose wheels were watched."""
    watched = sorted({machine for machine, _ in grip.grip_state})
    wheels = f"Slip from the wheels of {' and '.join(watched)}" if watched else "No wheel could be watched for slip"
    if not grip.events:
        return f"{wheels}; nothing happened that is worth a date."
    counts = Counter(event.kind for event in grip.events)
    return f"{wheels}; {len(grip.events)} events: " + ", ".join(f"{n} {kind}" for kind, n in counts.items()) + "."
