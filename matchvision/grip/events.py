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
from matchvision.grip.intervals import FloatArray
from matchvision.grip.lifting import find_lifting
from matchvision.grip.moves import find_first_motion, find_holding, find_leaving, find_stalls, find_turning
from matchvision.grip.rope import find_lead_changes, find_rope_off
from matchvision.grip.slip import find_slides, likely_states, name_states, slip_events
from matchvision.grip.states import wheel_chain
from matchvision.grip.touch import find_touches
from matchvision.records.events import Event, Grip
from matchvision.records.foreign import ForeignLook
from matchvision.records.motion import MachineMotion, MatchClock, Motion, WheelMotion
from matchvision.records.pull import Pull, PullSource
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run

#: Slip and stall are looked for from just before the start to just after the end: beyond that hands are at work.
AROUND_S: Final = 0.5


def find_events(
    run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, foreign: ForeignLook | None = None
) -> tuple[Grip, StageNote]:
    """Wheel states and dated events, each with its probability and the numbers it rests on.

    Events that follow the end of the clock are not part of the run and left out; slip that began before and goes on
    is followed for half a second.
    """
    advice: list[str] = []
    match_s = clock.match_time(motion.clip_s)
    around = (match_s >= -AROUND_S) & (match_s <= clock.duration_s + AROUND_S)
    touches = find_touches(run, motion, foreign, clock) if foreign is not None else None
    free = hands_off(match_s, touches)
    states: dict[tuple[str, str], tuple[str, ...]] = {}
    events: list[Event] = list(touches or ())
    for wheel in motion.wheels:
        moved = motion.machines.get(wheel.machine)
        if moved is None:
            continue
        chain = wheel_chain(wheel, moved, drive_speed(run, moved), motion.real_s, may_hold(run, wheel, motion))
        slides = find_slides(chain, wheel.slip_speed_m_s, around, motion.real_s)
        likely = likely_states(chain, slides, motion.real_s)
        states[wheel.machine, wheel.wheel] = name_states(wheel, likely)
        if wheel.driven:
            slips = slip_events(wheel, chain, slides, likely, motion.real_s, clock)
            events.extend(_new_ones(slips, events))
            traction = next((t for t in pull.traction if t.machine == wheel.machine), None) if pull else None
            commands = run.commands.get(wheel.machine)
            if run.sheet.machine[wheel.machine].brake is None or commands is not None:
                # A brake that holds shows the same traction as a drive that stalls: it is planted, not stalled.
                stalls = find_stalls(wheel, motion.real_s, clock, traction=traction, commands=commands)
                events.extend(_new_ones(stalls, events))
    unseen = unseen_wheels(run, motion)
    for name, moved in motion.machines.items():
        machine = run.sheet.machine[name]
        if machine.wheel and not any(wheel.rim for wheel in machine.wheel):
            advice.append(f"Two marks on the rim of a wheel of {name} would show when it slips.")
        events.extend(find_first_motion(moved, motion.real_s, clock, free))
        events.extend(find_turning(moved, motion.real_s, clock))
        events.extend(find_leaving(moved, run.sheet.table, motion.real_s, clock))
        events.extend(find_side_loss(run, motion, moved, clock))
        events.extend(find_lifting(moved, machine, motion.real_s, clock))
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
            events.extend(_new_ones(find_drive_loss(alone, motion.real_s, clock), events))
    if motion.rope is not None:
        events.extend(find_lead_changes(run.sheet, motion.rope, motion.real_s, clock))
        events.extend(find_rope_off(run.sheet, motion, usable_pull(pull), clock))
    for wheel in motion.wheels:
        events.extend(_new_ones(find_early_wheels(wheel, motion.real_s, free, clock), events, once=True))
    advice.extend(
        f"{name} neither moved nor turned a wheel: see whether its trigger went off."
        for name in idle_machines(run, motion, events)
    )
    setting_up, too_long = describe_setting_up(run, touches, float(match_s[0]))
    inside = [event for event in events if event.start_s <= clock.duration_s]
    inside.sort(key=lambda event: event.start_s)
    grip = Grip(tuple(inside), states)
    warnings = tuple(f"{wheel} could not be watched for slip, since its rim marks were not seen." for wheel in unseen)
    status: Literal["done", "partly"] = "partly" if unseen else "done"
    warnings = (*warnings, *([too_long] if too_long else []))
    return grip, StageNote("grip", status, describe_events(grip) + setting_up, warnings, tuple(advice))


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


def may_hold(run: Run, wheel: WheelMotion, motion: Motion) -> npt.NDArray[np.bool_]:
    """Frames in which a brake or self-locking gear may hold a wheel: the sheet lists one and the rope may pull."""
    listed = run.sheet.machine[wheel.machine].brake is not None
    pulls = np.ones(len(motion.real_s), dtype=np.bool_) if motion.rope is None else motion.rope.slack != 1
    return np.asarray(pulls & listed)


def drive_speed(run: Run, moved: MachineMotion) -> FloatArray:
    """The machine's speed along its drive direction [m/s], from its speed towards home and its heading."""
    side = 1.0 if run.sheet.machine[moved.machine].home == "+x" else -1.0
    return np.asarray(moved.speed_m_s * side * np.cos(np.deg2rad(moved.heading_deg)), dtype=np.float64)


def describe_events(grip: Grip) -> str:
    """How many of which kind, and whose wheels were watched."""
    watched = sorted({machine for machine, _ in grip.grip_state})
    wheels = f"Slip from the wheels of {' and '.join(watched)}" if watched else "No wheel could be watched for slip"
    if not grip.events:
        return f"{wheels}; nothing happened that is worth a date."
    counts = Counter(event.kind for event in grip.events)
    return f"{wheels}; {len(grip.events)} events: " + ", ".join(f"{n} {kind}" for kind, n in counts.items()) + "."


def _new_ones(found: list[Event], known: list[Event], *, once: bool = False) -> list[Event]:
    """Those that no event of the same kind and machine, from another of its wheels, already covers.

    ``once``: of this kind a machine has no more than one.
    """

    def covered(event: Event) -> bool:
        return any(
            k.kind == event.kind
            and k.machine == event.machine
            and (once or (k.start_s < event.end_s and event.start_s < k.end_s))
            for k in known
        )

    return [event for event in found if not covered(event)]
