"""Machines whose nose, tail or side comes off the table, and ones that tip over."""

from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray, IntArray
from matchvision.grip.intervals import (
    Stretch,
    best_mean,
    bridge_gaps,
    chance_above,
    date_crossing,
    hold_between,
    keep_long,
)
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock
from matchvision.records.sheet import Machine
from matchvision.uncertainty import format_interval

#: A machine is lifted once it is off level by this much: a wheel is then a centimetre off the table.
LIFTED_DEG: Final = 3.0
LIFTED_FOR_S: Final = 0.1
#: It has tipped beyond the angle at which its weight stands over its wheels or edge, or beyond this if that is unknown.
TIPPED_DEG: Final = 45.0
#: Beyond this a machine that is lost from sight of the pose, for so long, with its markers seen in such a share of
#: frames, has fallen over; so surely, since markers may be taken for others.
FAR_UP_DEG: Final = 30.0
LOST_FOR_S: Final = 0.25
SEEN_RATIO: Final = 0.8
LOST_CHANCE: Final = 0.9
#: One that leaned by more than this when it was lost from sight may lie anyhow.
LEANED_DEG: Final = 10.0
#: Wheels stand this share of the width apart, if nothing else is known.
TRACK_RATIO: Final = 0.9


def find_lifting(
    moved: MachineMotion, machine: Machine, real_s: FloatArray, clock: MatchClock, seen: IntArray | None = None
) -> list[Event]:
    """Stretches in which a machine's end or side is up by more than 3°, and the moment at which it tips.

    ``seen`` (n,): how many of its own markers each frame shows. One that was far up, and of which what is seen then
    fits no tilt that can be followed, has tipped: had it come down again, it would fit. Where it was lost from sight
    while it was up, that is said.

    Notes
    -----
    Checked by: tests/grip/test_lifting.py::test_nose_that_comes_up_is_dated
    """
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = real_s - zero_s
    during = (match_s > 0) & (match_s <= clock.duration_s)
    events = []
    for values, u, words, limit in (
        (moved.pitch_deg, moved.u_pitch_deg, ("front", "rear"), tip_angle_deg(machine, 0)),
        (moved.roll_deg, moved.u_roll_deg, ("left side", "right side"), tip_angle_deg(machine, 1)),
    ):
        off = np.abs(values)
        raised = hold_between(off, LIFTED_DEG, 0.7 * LIFTED_DEG) & np.isfinite(off) & during
        for stretch in keep_long(bridge_gaps(raised, real_s, LIFTED_FOR_S), real_s, LIFTED_FOR_S):
            part = stretch.frames
            best, u_best = best_mean(off[part], u[part], real_s[part], LIFTED_FOR_S)
            chance = chance_above(best, u_best, LIFTED_DEG)
            if chance < 0.9:
                continue
            at_s, u_at_s = date_crossing(off, u, real_s, stretch.first, LIFTED_DEG)
            word = words[0] if np.nanmedian(values[part]) > 0 else words[1]
            u_start_s = float(np.hypot(u_at_s, clock.u_start_s))
            evidence = (
                f"The {word} of {moved.machine} came up by {format_interval(best, u_best)}° (95 %) for "
                f"{real_s[stretch.last] - real_s[stretch.first]:.2f} s. Limit 3°."
            )
            lost = _lost_after(off, stretch, seen, real_s)
            if lost:
                evidence += f" It was last seen up by {float(off[stretch.last]):.0f}°, then {lost}."
            end_s = float(match_s[stretch.last])
            events.append(Event("lifted", moved.machine, at_s - zero_s, end_s, u_start_s, chance, evidence))
            over = np.flatnonzero(off[part] > limit)
            if not len(over) and seen is not None and best > FAR_UP_DEG:
                events.extend(_lost_on_end(moved, off, stretch, seen, real_s, clock))
            if len(over):
                k = stretch.first + int(over[0])
                tip_s, u_tip_s = date_crossing(off, u, real_s, k, limit)
                # One that falls is often lost from sight at once: its highest frame counts, not a mean over some time.
                highest = stretch.first + int(np.nanargmax(off[part]))
                chance = chance_above(float(off[highest]), float(u[highest]), limit)
                up = format_interval(float(off[highest]), float(u[highest]))
                evidence = (
                    f"The {word} of {moved.machine} came up by {up}° (95 %), beyond the "
                    f"{limit:.0f}° at which its weight no longer brings it back."
                )
                events.append(Event("tipped", moved.machine, tip_s - zero_s, float("nan"), u_tip_s, chance, evidence))
    return events


def _lost_after(off_deg: FloatArray, stretch: Stretch, seen: IntArray | None, real_s: FloatArray) -> str:
    """What was seen of a machine whose tilt was lost while it was up, in words; "" where it was not lost."""
    after = np.arange(
        stretch.last + 1, min(int(np.searchsorted(real_s, real_s[stretch.last] + LOST_FOR_S)), len(real_s))
    )
    if seen is None or len(after) == 0 or np.isfinite(off_deg[after]).any():
        return ""
    count = int(np.median(seen[after]))
    if count == 0:
        return "none of its markers was seen"
    return "only one of its markers was seen" if count == 1 else "what was seen of it fitted no tilt"


def _lost_on_end(
    moved: MachineMotion, off_deg: FloatArray, stretch: Stretch, seen: IntArray, real_s: FloatArray, clock: MatchClock
) -> list[Event]:
    """A machine that had been far up, and fits no tilt from then on although its markers are seen."""
    after = (real_s > real_s[stretch.last]) & (real_s <= real_s[stretch.last] + LOST_FOR_S)
    whole = after.any() and real_s[after][-1] - real_s[stretch.last] > 0.9 * LOST_FOR_S
    if not whole or np.isfinite(off_deg[after]).any() or (seen[after] >= 2).mean() < SEEN_RATIO:
        return []
    highest = stretch.first + int(np.nanargmax(off_deg[stretch.frames]))
    # Some time after it was seen highest, and before it was lost.
    low_s, high_s = float(real_s[highest]), float(real_s[stretch.last + 1])
    u_s = float(np.hypot((high_s - low_s) / np.sqrt(12), clock.u_start_s))
    evidence = (
        f"{moved.machine} came up by {off_deg[highest]:.0f}°, and what is seen of it from then on fits no machine that "
        "stands on its wheels or nearly so: it fell over."
    )
    at_s = (low_s + high_s) / 2 - clock.start_clip_s * clock.real_per_clip_ratio
    return [Event("tipped", moved.machine, at_s, float("nan"), u_s, LOST_CHANCE, evidence)]


def leaned_when_told(moved: MachineMotion) -> BoolArray:
    """Frames (n,) in which a machine leans by more than 10°, or did so when its tilt was told last."""
    tilt = np.fmax(np.abs(moved.pitch_deg), np.abs(moved.roll_deg))
    told = np.flatnonzero(np.isfinite(tilt))
    if len(told) == 0:
        return np.zeros(len(tilt), dtype=np.bool_)
    last = np.searchsorted(told, np.arange(len(tilt)), side="right") - 1
    return np.asarray((last >= 0) & (tilt[told[np.maximum(last, 0)]] > LEANED_DEG))


def tip_angle_deg(machine: Machine, axis: int) -> float:
    """Angle [deg] at which a machine's weight stands over the wheels, or the edge, about which it turns.

    ``axis`` 0: lengthwise, over an axle; 1: sideways.
    """
    centre = machine.middle_of_mass_m
    if centre is None or centre[2] <= 0:
        return TIPPED_DEG
    if axis == 0:
        base = machine.wheelbase_m or (machine.size_m[0] if machine.size_m is not None else None)
    else:
        base = TRACK_RATIO * machine.size_m[1] if machine.size_m is not None else None
    if base is None:
        return TIPPED_DEG
    return float(np.degrees(np.arctan2(max(base / 2 - abs(centre[axis]), 0.01), centre[2])))
