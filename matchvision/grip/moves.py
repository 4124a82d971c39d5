"""Events of a machine's own motion: first motion, early start, turning, leaving the table, holding."""

from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.bends import noise_of
from matchvision.grip.intervals import (
    Stretch,
    best_mean,
    bridge_gaps,
    chance_above,
    date_crossing,
    hold_between,
    keep_long,
    typical_step_s,
)
from matchvision.grip.onset import LEAST_PLACES, date_start
from matchvision.grip.stirring import chance_of_way
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock, RopeMotion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import TableSheet
from matchvision.uncertainty import K_95, format_interval

#: A machine moves above this speed.
MOVING_M_S: Final = 0.010
MOVES_FOR_S: Final = 0.1
#: How long before the start signal a first motion is looked for; before that hands set things up.
BEFORE_START_S: Final = 1.0
#: A smoothed speed rises this long before a machine leaps: the window in which its smoother adapts.
LEAPS_S: Final = 0.06
#: Its first way is looked at from so long before.
LOOKED_BACK_S: Final = 1.0
#: A machine has turned once its heading is this far off its first one.
TURNED_DEG: Final = 10.0
TURNED_FOR_S: Final = 0.1
#: A machine that stands on end by more than this has no heading to speak of.
ON_END_DEG: Final = 30.0
#: A machine that holds is no faster than this, for this long.
HOLDS_M_S: Final = 0.004
HOLDS_FOR_S: Final = 1.0


def find_first_motion(
    moved: MachineMotion,
    real_s: FloatArray,
    clock: MatchClock,
    free: BoolArray | None = None,
    course: FloatArray | None = None,
    unseen_m: float = 0.0,
) -> list[Event]:
    """The machine's first motion, once, and an early start where it comes before the signal.

    The first stretch of at least 0.1 s above 10 mm/s that follows rest and exceeds the limit with 95 %, by the smoothed
    speed or, where the whole way is short, by that, `chance_of_way`. Early: the signal
    lies beyond its U95, the clock's own uncertainty included. A clock that was started by the first motion cannot be
    jumped. ``free`` says in which frames no hand is at work; without it that is from a second before the signal on.
    ``course`` (n,) is its place along x, not smoothed: it dates the motion, since a smoothed speed spreads a leap.
    ``unseen_m`` is how far it may move before pictures show it.

    Notes
    -----
    Checked by: tests/grip/test_moves.py::test_first_motion_is_dated
    """
    match_s = _match_s(real_s, clock)
    speed, u = np.abs(moved.speed_m_s), moved.u_speed_m_s
    looked_at = match_s >= -BEFORE_START_S if free is None else free
    moving = bridge_gaps((speed > MOVING_M_S) & np.isfinite(speed), real_s, MOVES_FOR_S / 2)
    for stretch in keep_long(moving & looked_at, real_s, MOVES_FOR_S):
        follows_rest = stretch.first > 0 and looked_at[stretch.first - 1] and np.isfinite(speed[stretch.first - 1])
        # The peak in the first half second: a creep just above the limit is no start.
        soon = slice(stretch.first, min(stretch.last + 1, int(np.searchsorted(real_s, real_s[stretch.first] + 0.5))))
        best, u_best = best_mean(speed[soon], u[soon], real_s[soon], MOVES_FOR_S)
        at_s, u_at_s = date_crossing(speed, u, real_s, stretch.first, MOVING_M_S)
        chance = chance_above(best, u_best, MOVING_M_S)
        if course is not None and follows_rest:
            # Over a short way the way itself tells: a smoothed speed is as unsure in each frame as in all together,
            # and a coder's jump has one too.
            chance = _chance_by_way(course, real_s, looked_at, at_s) or chance
        if not follows_rest or chance < 0.95:
            continue
        if course is not None:
            # Its way out is until it is fastest: one that stops again after a jerk follows no law of starting. The
            # smoothed speed of one that leaps is greatest while it leaps, so its window is added.
            fastest_s = float(real_s[soon][int(np.nanargmax(speed[soon]))]) + LEAPS_S
            near = looked_at & np.isfinite(course) & (real_s > at_s - LOOKED_BACK_S) & (real_s <= fastest_s)
            rests = near & (real_s < at_s)
            noise = noise_of(course[rests]) if rests.sum() > LEAST_PLACES else 0.0
            fitted = date_start(real_s[near], course[near], noise, MOVING_M_S, at_s, unseen_m)
            # A smoothed speed is off by about its smoother's window: where a law of starting says more, the machine
            # followed none, as one that crept before, unless it had not moved until then and leapt.
            if fitted is not None and (
                abs(fitted[0] - at_s) <= LEAPS_S + 2 * u_at_s
                or _stood_between(real_s[near], course[near], at_s, fitted[0], 3 * noise + unseen_m)
            ):
                at_s, u_at_s = fitted
        start_s = at_s - clock.start_clip_s * clock.real_per_clip_ratio
        u_start_s = float(np.hypot(u_at_s, clock.u_start_s))
        evidence = (
            f"{moved.machine} passed 10 mm/s at {format_interval(start_s, u_start_s)} s (95 %) and reached "
            f"{format_interval(1000 * best, 1000 * u_best)} mm/s within half a second."
        )
        found = [Event("first-motion", moved.machine, start_s, float("nan"), u_start_s, chance, evidence)]
        early = chance_above(-start_s, u_start_s, 0.0)
        if early > 0.975 and not clock.source.startswith("first motion"):
            evidence = (
                f"{moved.machine} moved {format_interval(-1000 * start_s, 1000 * u_start_s)} ms (95 %) before the "
                "start signal."
            )
            found.append(Event("early-start", moved.machine, start_s, float("nan"), u_start_s, early, evidence))
        return found
    return []


def _chance_by_way(course: FloatArray, real_s: FloatArray, looked_at: BoolArray, about_s: float) -> float | None:
    """Probability that a course that stays within a centimetre went faster than the limit about a moment."""
    shown = looked_at & np.isfinite(course)
    rests = shown & (real_s < about_s) & (real_s > about_s - LOOKED_BACK_S)
    noise = noise_of(course[rests]) if rests.sum() > LEAST_PLACES else 0.0
    return chance_of_way(real_s[shown], course[shown], noise, MOVING_M_S, about_s, MOVES_FOR_S)


def _stood_between(t_s: FloatArray, course: FloatArray, from_s: float, until_s: float, unseen_m: float) -> bool:
    """Whether a course had not moved from one moment to a later one, by half of what the limit's speed would make."""
    if until_s <= from_s:
        return False
    first, last = (max(int(np.searchsorted(t_s, at, side="right")) - 1, 0) for at in (from_s, until_s))
    return bool(abs(course[last] - course[first]) < 0.5 * MOVING_M_S * (until_s - from_s) + unseen_m)


def find_turning(moved: MachineMotion, real_s: FloatArray, clock: MatchClock) -> list[Event]:
    """Stretches in which the machine's heading lies more than 10° off the one with which it started."""
    match_s = _match_s(real_s, clock)
    heading, u = moved.heading_deg, moved.u_heading_deg
    standing = np.isfinite(heading) & (match_s > -0.5) & (match_s <= 0.1)
    if not standing.any():
        standing = np.isfinite(heading) & (match_s > -0.5)
        standing[np.cumsum(standing) > 10] = False
    if not standing.any():
        return []
    first_deg = float(np.median(heading[standing]))
    off_deg = np.abs(heading - first_deg)
    # A turn lies between two headings, of which neither is exact.
    u = np.hypot(u, float(np.median(u[standing])))
    # Until it stands on its wheels again, since what comes between may be mistaken for a turn.
    on_end = hold_between(np.fmax(np.abs(moved.pitch_deg), np.abs(moved.roll_deg)), ON_END_DEG, TURNED_DEG)
    turned = hold_between(off_deg, TURNED_DEG, 0.8 * TURNED_DEG) & (match_s > 0) & ~on_end
    events = []
    for stretch in keep_long(turned, real_s, TURNED_FOR_S):
        part = stretch.frames
        best, u_best = best_mean(off_deg[part], u[part], real_s[part], TURNED_FOR_S)
        chance = chance_above(best, u_best, TURNED_DEG)
        if chance < 0.5:
            continue
        at_s, u_at_s = date_crossing(off_deg, u, real_s, stretch.first, TURNED_DEG)
        way = "left" if np.nanmedian(heading[part] - first_deg) > 0 else "right"
        zero_s = clock.start_clip_s * clock.real_per_clip_ratio
        evidence = (
            f"The heading of {moved.machine} went {format_interval(best, u_best)}° (95 %) to the {way} of "
            f"{first_deg:.1f}°, with which it started. Limit 10°."
        )
        events.append(
            Event(
                "turned", moved.machine, at_s - zero_s, _end_s(real_s, stretch.last, zero_s), u_at_s, chance, evidence
            )
        )
    return events


def find_leaving(moved: MachineMotion, table: TableSheet, real_s: FloatArray, clock: MatchClock) -> list[Event]:
    """The moment from which the machine's middle lies beyond the table's edge."""
    match_s = _match_s(real_s, clock)
    beyond_m = np.fmax(np.abs(moved.x_m) - table.length_m / 2, np.abs(moved.y_m) - table.width_m / 2)
    u_m = np.fmax(moved.u_x_m, moved.u_y_m)
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    for stretch in keep_long((beyond_m > K_95 * u_m) & (match_s > 0), real_s, 0.1):
        part = stretch.frames
        best, u_best = best_mean(beyond_m[part], u_m[part], real_s[part], 0.1)
        # Surely beyond comes after beyond: the edge was passed where the middle last was not.
        inside = np.flatnonzero(~(beyond_m[: stretch.first] > 0))
        passed = int(inside[-1]) + 1 if len(inside) else stretch.first
        at_s, u_at_s = date_crossing(beyond_m, u_m, real_s, passed, 0.0)
        evidence = (
            f"The middle of {moved.machine} went {format_interval(1000 * best, 1000 * u_best)} mm (95 %) beyond the "
            "table's edge."
        )
        chance = chance_above(best, u_best, 0.0)
        return [Event("off-table", moved.machine, at_s - zero_s, float("nan"), u_at_s, chance, evidence)]
    return []


def find_holding(
    moved: MachineMotion, rope: RopeMotion, pull: PullSource | None, real_s: FloatArray, clock: MatchClock
) -> list[Event]:
    """Stretches in which an anchored or braked machine stands for at least 1 s against a known pull on a taut rope.

    Told where it more likely stood for a second than not: both ends have their uncertainty, and the last is where its
    speed passed 4 mm/s. The probability is that of the second and of the pull.

    Notes
    -----
    Checked by: tests/grip/test_moves.py::test_hold_of_about_a_second_is_as_likely_as_its_ends_are_sure
    """
    if pull is None:
        return []
    match_s = _match_s(real_s, clock)
    speed = np.abs(moved.speed_m_s)
    still = speed < np.fmax(HOLDS_M_S, 2 * moved.u_speed_m_s)
    still &= (rope.slack == 0) & (pull.tension_N > np.fmax(2 * pull.u_tension_N, 0.5)) & (match_s > 0)
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    frame_s = typical_step_s(real_s)
    events = []
    for stretch in keep_long(bridge_gaps(still, real_s, 0.1), real_s, HOLDS_FOR_S - 2 * frame_s):
        part = stretch.frames
        most_N, u_N = best_mean(pull.tension_N[part], pull.u_tension_N[part], real_s[part], 0.1)
        # It began somewhere between the frame before and this one.
        begun_s, (ended_s, u_ended_s) = float(real_s[stretch.first]), _stood_until(moved, real_s, stretch)
        lasted_s, u_lasted_s = ended_s - begun_s + frame_s / 2, float(np.hypot(frame_s / np.sqrt(12), u_ended_s))
        chance = chance_above(lasted_s, u_lasted_s, HOLDS_FOR_S)
        if chance <= 0.5:
            continue
        evidence = (
            f"{moved.machine} stood for {format_interval(lasted_s, u_lasted_s)} s against up to "
            f"{format_interval(most_N, u_N)} N (95 %). Limit 1 s."
        )
        chance *= chance_above(most_N, u_N, 0.5)
        events.append(Event("held", moved.machine, begun_s - zero_s, ended_s - zero_s, frame_s, chance, evidence))
    return events


def _stood_until(moved: MachineMotion, real_s: FloatArray, stretch: Stretch) -> tuple[float, float]:
    """When a machine that stood began to move faster than 4 mm/s [s], and its standard uncertainty."""
    speed, last = np.abs(moved.speed_m_s), stretch.last
    if last + 1 >= len(real_s) or not speed[last + 1] > HOLDS_M_S:
        step_s = typical_step_s(real_s)
        return float(real_s[last]) + step_s / 2, step_s / np.sqrt(12)
    passed = last + 1
    while passed - 1 > stretch.first and speed[passed - 1] > HOLDS_M_S:
        passed -= 1
    return date_crossing(speed, moved.u_speed_m_s, real_s, passed, HOLDS_M_S)


def _match_s(real_s: FloatArray, clock: MatchClock) -> FloatArray:
    return real_s - clock.start_clip_s * clock.real_per_clip_ratio


def _end_s(real_s: FloatArray, last: int, zero_s: float) -> float:
    return float(real_s[last]) - zero_s
