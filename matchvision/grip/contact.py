"""Bodies that meet: machines against each other and against walls, and who is held up by it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.geometry.footprints import U_OUTLINE_M, nearest_gap, outline_of, wall_outline
from matchvision.grip.intervals import (
    Stretch,
    bridge_gaps,
    chance_above,
    date_crossing,
    hold_between,
    keep_long,
    typical_step_s,
)
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.sheet import RunSheet
from matchvision.uncertainty import K_95, format_interval

WALL_OF: Final = "the wall of "
#: Bodies may touch where their gap is no larger than this many u, and no longer where it exceeds twice that.
TOUCHES_U: Final = 1.0
#: They surely do where they overlap by so many u; else a sudden stop must tell: a loss of so much speed within 0.15 s.
SURELY_U: Final = 1.64
STOPS_M_S: Final = 0.020
STOPS_IN_S: Final = 0.15
TOUCHES_FOR_S: Final = 0.1
#: Bodies that never come apart further than this from the start on stand side by side; that is no contact.
BLOCKED_M_S: Final = 0.010
BLOCKED_FOR_S: Final = 0.5
#: A wall has been pushed away once what met it stands so far beyond where it met it …
PUSHED_M: Final = 0.010
#: … and it began to give way where that was this much.
GIVES_M: Final = 0.002
#: How well a way of some centimetres is known: what smoothing leaves of it, and the camera's scale there.
U_NEARBY_M: Final = 0.0007
U_SCALE_RATIO: Final = 0.01
#: A wheel turns against what holds the machine up above this surface speed.
STRIVES_M_S: Final = 0.020


@dataclass(frozen=True, eq=False)
class Meeting:
    """A machine and what it may meet: another machine or somebody's wall; gap (n,) with u, direction to it (n, 2)."""

    machine: str
    other: str
    gap_m: FloatArray
    u_gap_m: FloatArray
    way: FloatArray


def find_meetings(sheet: RunSheet, motion: Motion) -> list[Meeting]:
    """Every machine against every other machine and every wall whose size and place are known."""
    outlines = {
        name: outline for name, moved in motion.machines.items() if (outline := outline_of(moved, sheet.machine[name]))
    }
    n = len(motion.real_s)
    meetings = []
    names = list(outlines)
    for k, name in enumerate(names):
        meetings += [Meeting(name, other, *nearest_gap(outlines[name], outlines[other])) for other in names[k + 1 :]]
        for owner, machine in sheet.machine.items():
            block = wall_outline(machine, n)
            if block is None:
                continue
            meetings.append(Meeting(name, f"{WALL_OF}{owner}", *nearest_gap(outlines[name], (block,))))
    return meetings


def touching(meeting: Meeting, real_s: FloatArray) -> list[Stretch]:
    """Stretches of at least 0.1 s in which the two probably touch, with hysteresis."""
    nearness = TOUCHES_U - meeting.gap_m / meeting.u_gap_m
    holds = hold_between(nearness, 0.0, -TOUCHES_U)
    return keep_long(bridge_gaps(holds & np.isfinite(nearness), real_s, TOUCHES_FOR_S), real_s, TOUCHES_FOR_S)


def touching_frames(sheet: RunSheet, motion: Motion, machine: str) -> BoolArray:
    """Frames (n,) in which a machine touches another body or a wall: rope and ground are then not all that push it."""
    frames = np.zeros(len(motion.real_s), dtype=np.bool_)
    for meeting in find_meetings(sheet, motion):
        if machine in (meeting.machine, meeting.other):
            for stretch in touching(meeting, motion.real_s):
                if _meets(motion, meeting, stretch):
                    frames[stretch.frames] = True
    return frames


def find_contacts(sheet: RunSheet, motion: Motion, clock: MatchClock) -> list[Event]:
    """Contacts and what they hold up.

    ``contact`` names the machine that came nearer; ``blocked`` the machine that stands (slower than 10 mm/s for half a
    second) against what it meets in the way it drives, while its wheels turn or it had been moving that way.

    Notes
    -----
    Checked by: tests/grip/test_contact.py::test_wall_is_met_and_blocks
    """
    events: list[Event] = []
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = motion.real_s - zero_s
    during = (match_s > 0) & (match_s <= clock.duration_s)
    for meeting in find_meetings(sheet, motion):
        for stretch in touching(meeting, motion.real_s):
            inside = during[stretch.frames]
            if not inside.any() or not _meets(motion, meeting, stretch):
                continue
            event = _contact_event(sheet, motion, meeting, stretch, match_s, clock)
            if event is not None:
                events.append(event)
            events.extend(_blocked(sheet, motion, meeting, stretch, match_s, during))
            events.extend(_pushed_away(motion, meeting, stretch, match_s, clock))
    return events


def _pushed_away(
    motion: Motion, meeting: Meeting, stretch: Stretch, match_s: FloatArray, clock: MatchClock
) -> list[Event]:
    """A wall that gave way: what met it goes on into where it stood, by more than 10 mm beyond where they met.

    How far their outlines overlap when they meet is what sheet and camera get wrong all along, and is taken off.
    """
    stop = _stop_frame(motion, meeting, stretch)
    if not meeting.other.startswith(WALL_OF):
        return []
    part = np.arange(stretch.first if stop is None else max(stop, stretch.first), stretch.last + 1)
    gap = meeting.gap_m[part]
    if len(part) < 3 or not np.isfinite(gap).all():
        return []
    # Without a sudden stop they met where their outlines did.
    met_m = float(gap[0]) if stop is not None else min(float(gap[0]), 0.0)
    into_m = met_m - gap
    # A stop is dated to a frame or two, in which what comes on comes nearer yet.
    late_m = _closing_m_s(motion, meeting, int(part[0])) * _u_stop_s(motion)
    u_met_m = float(np.hypot(U_NEARBY_M, U_OUTLINE_M if stop is None else late_m))
    u_way = np.hypot(u_met_m, U_SCALE_RATIO * into_m)
    most = int(np.argmax(into_m))
    chance = chance_above(float(into_m[most]), float(u_way[most]), PUSHED_M)
    if chance < 0.9:
        return []
    surely = int(np.argmax(into_m > np.maximum(GIVES_M, K_95 * u_way)))
    back = np.flatnonzero(into_m[: surely + 1] <= GIVES_M)
    at = int(back[-1]) + 1 if len(back) else surely
    at_s, u_at_s = date_crossing(into_m, u_way, motion.real_s[part], min(at, surely), GIVES_M)
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    owner = meeting.other.removeprefix(WALL_OF)
    far = format_interval(1000 * float(into_m[most]), 1000 * float(u_way[most]))
    evidence = (
        f"{meeting.machine} went on {far} mm (95 %) into where the wall of {owner} stood, after they had met: the wall "
        "gave way. Limit 10 mm."
    )
    u_start_s = float(np.hypot(u_at_s, clock.u_start_s))
    return [Event("dislodged", owner, at_s - zero_s, float("nan"), u_start_s, chance, evidence)]


def _meets(motion: Motion, meeting: Meeting, stretch: Stretch) -> bool:
    """Whether two that come near really meet: they overlap beyond doubt, or one stops as if against a wall."""
    return _overlap(meeting, stretch) or _stop_frame(motion, meeting, stretch) is not None


def _overlap(meeting: Meeting, stretch: Stretch) -> bool:
    nearness = meeting.gap_m[stretch.frames] / meeting.u_gap_m[stretch.frames]
    return bool(np.nanmin(nearness) < -SURELY_U)


def _stop_frame(motion: Motion, meeting: Meeting, stretch: Stretch) -> int | None:
    """The frame about which the gap stops closing most suddenly; None where nothing stops.

    What loses the most speed where the outlines just touch counts: one that is stopped by a wall that it pushes away
    loses speed twice. Where they surely meet it need not lose half.
    """
    real_s, step_s = motion.real_s, max(typical_step_s(motion.real_s), 1e-3)
    width = max(2, round(STOPS_IN_S / step_s))
    closing = np.convolve(np.nan_to_num(-np.gradient(meeting.gap_m, real_s)), np.ones(3) / 3, "same")
    u = float(np.nanmedian([np.nanmedian(m.u_speed_m_s) for m in motion.machines.values()]))
    around = np.arange(max(0, stretch.first - width), min(len(real_s) - width, stretch.first + 2 * width))
    if len(around) == 0:
        return None
    before, after = closing[around], closing[around + width]
    stops = before - after > max(STOPS_M_S, 4 * u)
    if not _overlap(meeting, stretch):
        stops &= after < 0.5 * before - 0.5 * u
    if not stops.any():
        return None
    touch = np.exp(-0.5 * (meeting.gap_m[around + width // 2] / meeting.u_gap_m[around + width // 2]) ** 2)
    most = int(around[int(np.argmax(np.where(stops, (before - after) * np.nan_to_num(touch), -np.inf)))])
    # Within that window the speed falls fastest where they meet.
    return most + int(np.argmin(np.diff(closing[most : most + width + 1])))


def _closing_m_s(motion: Motion, meeting: Meeting, frame: int) -> float:
    """How fast the gap closed over the five frames before one [m/s]; 0 where that is not known."""
    step_s = max(typical_step_s(motion.real_s), 1e-3)
    closed_m = abs(float(meeting.gap_m[frame] - meeting.gap_m[max(frame - 5, 0)]))
    return closed_m / (5 * step_s) if np.isfinite(closed_m) else 0.0


def _u_stop_s(motion: Motion) -> float:
    """How well a sudden stop is dated [s]: a smoothed speed shows it to a frame or two."""
    return 1.5 * max(typical_step_s(motion.real_s), 1e-3)


def _contact_event(
    sheet: RunSheet, motion: Motion, meeting: Meeting, stretch: Stretch, match_s: FloatArray, clock: MatchClock
) -> Event | None:
    part = stretch.frames
    least = stretch.first + int(np.nanargmin(meeting.gap_m[part]))
    gap, u_gap = float(meeting.gap_m[least]), float(meeting.u_gap_m[least])
    # They touch where the gap, less what is wrong with it all along, comes to nothing.
    level = max(gap, 0.0) + 0.001
    near = stretch.first + int(np.argmax(np.nan_to_num(meeting.gap_m[part], nan=np.inf) <= level))
    stop = _stop_frame(motion, meeting, stretch)
    # A sudden stop dates better than a gap that is a millimetre or two wrong all along.
    near = near if stop is None else stop
    if near == 0:
        return None
    step_s = max(typical_step_s(motion.real_s), 1e-3)
    speed = _closing_m_s(motion, meeting, near)
    u_start_s = float(np.hypot(min(u_gap / max(speed, 1e-3), 0.5), step_s)) if stop is None else _u_stop_s(motion)
    mover = _who_came(sheet, motion, meeting, stretch.first)
    other = meeting.other if mover == meeting.machine else meeting.machine
    evidence = (
        f"{mover} and {other} met: the gap between their outlines went down to "
        f"{format_interval(1000 * gap, 1000 * u_gap)} mm (95 %). While they touch, pull from momentum "
        "or drive is not available."
    )
    chance = chance_above(-gap + TOUCHES_U * u_gap, u_gap, 0.0)
    end_s = float(match_s[stretch.last])
    return Event(
        "contact", mover, float(match_s[near]), end_s, float(np.hypot(u_start_s, clock.u_start_s)), chance, evidence
    )


def _who_came(sheet: RunSheet, motion: Motion, meeting: Meeting, frame: int) -> str:
    """The machine whose own motion closed the gap, over the fifth of a second before."""
    names = [n for n in (meeting.machine, meeting.other) if n in motion.machines]
    before = max(0, frame - max(2, round(0.2 / max(typical_step_s(motion.real_s), 1e-3))))
    moved = {}
    for name in names:
        m = motion.machines[name]
        moved[name] = float(np.hypot(m.x_m[frame] - m.x_m[before], m.y_m[frame] - m.y_m[before]))
    return max(moved, key=lambda name: moved[name])


def _blocked(
    sheet: RunSheet, motion: Motion, meeting: Meeting, stretch: Stretch, match_s: FloatArray, during: BoolArray
) -> list[Event]:
    """Machines of a meeting that stand against the other in the way they drive."""
    events = []
    sides: Sequence[tuple[str, str, float]] = (
        (meeting.machine, meeting.other, 1.0),
        (meeting.other, meeting.machine, -1.0),
    )
    for name, other, sign in sides:
        moved = motion.machines.get(name)
        if moved is None:
            continue
        home = sheet.machine[name].home
        heading = np.deg2rad(
            np.where(np.isfinite(moved.heading_deg), moved.heading_deg, 0.0 if home == "+x" else 180.0)
        )
        ahead = sign * (meeting.way[:, 0] * np.cos(heading) + meeting.way[:, 1] * np.sin(heading)) > 0.7
        wheels = [w for w in motion.wheels if w.machine == name and w.driven]
        strives = np.zeros(len(match_s), dtype=np.bool_)
        for wheel in wheels:
            strives |= np.nan_to_num(wheel.surface_speed_m_s) > STRIVES_M_S
        within = np.zeros(len(match_s), dtype=np.bool_)
        within[stretch.frames] = True
        stands = within & ahead & during & (np.abs(moved.speed_m_s) < np.fmax(BLOCKED_M_S, 2 * moved.u_speed_m_s))
        came = float(np.nanmax(np.abs(moved.speed_m_s[max(0, stretch.first - 30) : stretch.first + 1]), initial=0.0))
        for stand in keep_long(bridge_gaps(stands, motion.real_s, 0.1), motion.real_s, BLOCKED_FOR_S):
            turning = bool(strives[stand.frames].mean() > 0.5)
            if not turning and came < 2 * BLOCKED_M_S:
                continue
            how = "its wheels went on turning" if turning else f"it had come at {1000 * came:.0f} mm/s"
            lasted_s = float(match_s[stand.last] - match_s[stand.first])
            evidence = f"{name} stood for {lasted_s:.2f} s against {other}, which was in its way; {how}."
            gap = float(np.nanmedian(meeting.gap_m[stand.frames]))
            u_gap = float(np.nanmedian(meeting.u_gap_m[stand.frames]))
            chance = chance_above(TOUCHES_U * u_gap - gap, u_gap, 0.0)
            u_s = 2 * typical_step_s(motion.real_s)
            events.append(
                Event("blocked", name, float(match_s[stand.first]), float(match_s[stand.last]), u_s, chance, evidence)
            )
    return events
