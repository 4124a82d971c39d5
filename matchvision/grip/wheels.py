"""Every watched wheel: its states, and its slips and stalls with where they were and what the other side did."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.grip.hidden import Chain
from matchvision.grip.places import describe_other_side, describe_place
from matchvision.grip.slip import StateArray, likely_states, slip_events
from matchvision.grip.spells import Slide, find_slides
from matchvision.grip.stalls import find_stalls
from matchvision.grip.states import wheel_chain
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock, Motion, WheelMotion
from matchvision.records.pull import Pull
from matchvision.records.sheet import Run, Wheel


@dataclass(frozen=True, eq=False)
class WatchedWheel:
    """A wheel with the probability of its states, its slides, and the likeliest state in each frame (n,)."""

    motion: WheelMotion
    sheet: Wheel
    moved: MachineMotion
    chain: Chain
    slides: list[Slide]
    states: StateArray


def watch_wheels(run: Run, motion: Motion, around: npt.NDArray[np.bool_]) -> list[WatchedWheel]:
    """All wheels whose machine was seen; slides are looked for in the frames ``around`` the match."""
    watched = []
    for wheel in motion.wheels:
        moved = motion.machines.get(wheel.machine)
        if moved is None:
            continue
        sheet = next(w for w in run.sheet.machine[wheel.machine].wheel if w.name == wheel.wheel)
        chain = wheel_chain(wheel, moved, drive_speed(run, moved), motion.real_s, may_hold(run, wheel, motion))
        slides = find_slides(wheel, around, motion.real_s)
        states = likely_states(chain, slides, motion.real_s)
        watched.append(WatchedWheel(wheel, sheet, moved, chain, slides, states))
    return watched


def wheel_events(
    run: Run, motion: Motion, pull: Pull | None, clock: MatchClock, watched: list[WatchedWheel]
) -> list[Event]:
    """Slides and stalls of driven wheels; what two wheels of a machine do together is one event."""
    events: list[Event] = []
    match_s = clock.match_time(motion.clip_s)
    for one in watched:
        wheel, name = one.motion, one.motion.machine
        if not wheel.driven:
            continue
        traction = next((t for t in pull.traction if t.machine == name), None) if pull else None
        slips = slip_events(wheel, one.chain, one.slides, one.states, motion.real_s, clock)
        others = [(other.sheet, other.states) for other in watched if other.motion.machine == name]
        for event in new_ones(slips, events):
            place = describe_place(event, one.sheet, one.moved, one.states, traction, motion.real_s, clock)
            place += describe_other_side(event, others, one.sheet, match_s)
            events.append(replace(event, evidence=event.evidence + place))
        commands = run.commands.get(name)
        if run.sheet.machine[name].brake is None or commands is not None:
            # A brake that holds shows the same traction as a drive that stalls: it is planted, not stalled.
            stalls = find_stalls(wheel, motion.real_s, clock, traction=traction, commands=commands)
            events.extend(new_ones(stalls, events))
    return events


def may_hold(run: Run, wheel: WheelMotion, motion: Motion) -> npt.NDArray[np.bool_]:
    """Frames in which a brake or self-locking gear may hold a wheel: the sheet lists one and the rope may pull."""
    listed = run.sheet.machine[wheel.machine].brake is not None
    pulls = np.ones(len(motion.real_s), dtype=np.bool_) if motion.rope is None else motion.rope.slack != 1
    return np.asarray(pulls & listed)


def drive_speed(run: Run, moved: MachineMotion) -> FloatArray:
    """The machine's speed along its drive direction [m/s], from its speed towards home and its heading."""
    side = 1.0 if run.sheet.machine[moved.machine].home == "+x" else -1.0
    return np.asarray(moved.speed_m_s * side * np.cos(np.deg2rad(moved.heading_deg)), dtype=np.float64)


def new_ones(found: list[Event], known: list[Event], *, once: bool = False) -> list[Event]:
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
