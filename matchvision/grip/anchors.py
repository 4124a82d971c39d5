"""Anchored bases: creep told apart from camera noise, breaking away, and what they held."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.grip.bends import FALSE_ALARMS, Bends, find_bends
from matchvision.grip.intervals import best_mean, bridge_gaps, chance_above, date_crossing, keep_long, typical_step_s
from matchvision.grip.onset import base_course, date_start, unseen_way
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock, Motion, RopeMotion
from matchvision.records.pull import PullSource
from matchvision.uncertainty import K_95, fit_line, format_interval

#: An anchored base creeps when it moves faster than this …
CREEP_M_S: Final = 0.004
#: … by at least this much.
CREEP_M: Final = 0.003
#: It has let go once it moves faster than a wheel that slips, and has come this far.
LET_GO_M_S: Final = 0.030
LET_GO_M: Final = 0.010
#: Bends are sought while the base has not come further than this: beyond it runs, and is no longer straight.
COURSE_M: Final = 0.020
#: Fewer frames of a course are not tested.
LEAST_FRAMES: Final = 20
#: The base stands at least this long before the start.
BEFORE_S: Final = 0.5
#: A smoothed speed rises this long before a base leaps: the window in which its smoother adapts (rectangular).
LEAPS_S: Final = 0.06
#: A hold's leak-down is told where its base moved against a known pull for this long.
LEAKS_FOR_S: Final = 1.0


def find_creep(motion: Motion, moved: MachineMotion, pull: PullSource | None, clock: MatchClock) -> list[Event]:
    """Stretches in which an anchored base moves faster than 4 mm/s by at least 3 mm.

    Dated by a change-point test on its unsmoothed course, `find_bends`, whose rate of false alarms is stated; the
    probability is that its speed exceeds 4 mm/s.

    Notes
    -----
    Checked by: tests/grip/test_anchors.py::test_creep_is_found_and_dated
    """
    match_s = clock.match_time(motion.clip_s)
    bent = _bends_of(base_course(motion, moved), match_s, clock)
    if bent is None:
        return []
    course, at, bends = bent
    return [
        _creep_event(moved, match_s[at], course[at], bends, first, last, pull, match_s, clock, unseen_way(motion))
        for first, last in _creeping_pieces(bends)
        if abs(bends.value[last + 1] - bends.value[first]) >= CREEP_M
    ]


def _bends_of(
    course: FloatArray, match_s: FloatArray, clock: MatchClock
) -> tuple[FloatArray, npt.NDArray[np.int64], Bends] | None:
    """A base's course, the frames of it that were tested (until 20 mm away), and its bends; None if too short."""
    looked = np.isfinite(course) & (match_s >= -BEFORE_S) & (match_s <= clock.duration_s)
    if looked.sum() < LEAST_FRAMES:
        return None
    at = np.flatnonzero(looked)
    rest = float(np.median(course[at[: max(5, len(at) // 20)]]))
    gone = np.flatnonzero(np.abs(course[at] - rest) > COURSE_M)
    if len(gone):
        # A few frames more, so that the last piece has a slope.
        at = at[: min(int(gone[0]) + 6, len(at))]
    return (course, at, find_bends(match_s[at], course[at])) if len(at) >= LEAST_FRAMES else None


def _creeping_pieces(bends: Bends) -> list[tuple[int, int]]:
    """First and last of neighbouring pieces that move faster than the limit; the first piece is rest, before a bend."""
    fast = np.abs(bends.rate) > CREEP_M_S
    fast[0] = False
    pieces, k = [], 0
    while k < len(fast):
        if fast[k]:
            last = k
            while last + 1 < len(fast) and fast[last + 1]:
                last += 1
            pieces.append((k, last))
            k = last
        k += 1
    return pieces


def _creep_event(
    moved: MachineMotion,
    t_s: FloatArray,
    course: FloatArray,
    bends: Bends,
    first: int,
    last: int,
    pull: PullSource | None,
    match_s: FloatArray,
    clock: MatchClock,
    unseen_m: float,
) -> Event:
    bend_s, u_bend_s = float(bends.at_s[first - 1]), float(bends.u_at_s[first - 1])
    dated = date_start(t_s, course, bends.sigma, CREEP_M_S, bend_s, unseen_m, anew=True)
    start_s, u_start_s = dated or (bend_s, u_bend_s)
    end_s = float(bends.at_s[last]) if last < len(bends.at_s) else float("nan")
    fastest = first + int(np.argmax(np.abs(bends.rate[first : last + 1])))
    rate, u_rate = abs(float(bends.rate[fastest])), float(bends.u_rate[fastest])
    way_m = abs(float(bends.value[last + 1] - bends.value[first]))
    u_way_m = bends.sigma
    far = (
        f"{format_interval(1000 * way_m, 1000 * u_way_m)} mm"
        if way_m < COURSE_M
        else f"more than {1000 * COURSE_M:.0f} mm"
    )
    evidence = (
        f"The base of {moved.machine} moved {far}, at up to "
        f"{format_interval(1000 * rate, 1000 * u_rate)} mm/s (95 %). Limit 4 mm/s by 3 mm; camera noise alone would "
        f"look so in {100 * FALSE_ALARMS:.0f} % of runs."
    )
    evidence += _pull_then(pull, match_s, start_s)
    chance = chance_above(rate, u_rate, CREEP_M_S) * chance_above(way_m, u_way_m, CREEP_M / 2) * (1 - FALSE_ALARMS)
    return Event(
        "anchor-creep", moved.machine, start_s, end_s, float(np.hypot(u_start_s, clock.u_start_s)), chance, evidence
    )


def _pull_then(pull: PullSource | None, match_s: FloatArray, at_s: float) -> str:
    """The pull within a twentieth of a second of a moment, as a sentence; "" where it is not known."""
    if pull is None:
        return ""
    near = (np.abs(match_s - at_s) <= 0.05) & np.isfinite(pull.tension_N)
    if not near.any():
        return ""
    value = format_interval(float(np.mean(pull.tension_N[near])), float(np.mean(pull.u_tension_N[near])), "N")
    return f" The pull was then {value} (95 %)."


def find_break_away(
    motion: Motion, moved: MachineMotion, pull: PullSource | None, end: int | None, clock: MatchClock
) -> list[Event]:
    """The moment from which an anchored base no longer holds: faster than 30 mm/s, and 10 mm away from where it stood.

    Its unsmoothed course must bend before, by the same test as creep, with its rate of false alarms.

    Parameters
    ----------
    end : the rope end that is hitched to it, for the pull's direction.

    Notes
    -----
    Checked by: tests/grip/test_anchors.py::test_break_away_has_its_pull_and_angle
    """
    match_s = clock.match_time(motion.clip_s)
    speed, u = np.abs(moved.speed_m_s), moved.u_speed_m_s
    before = np.isfinite(moved.x_m) & (match_s < 0.1)
    if not before.any():
        return []
    away = np.hypot(moved.x_m - float(np.median(moved.x_m[before])), moved.y_m - float(np.nanmedian(moved.y_m[before])))
    runs = bridge_gaps((speed > LET_GO_M_S) & (match_s > 0) & (match_s <= clock.duration_s), motion.real_s, 0.1)
    bent = _bends_of(base_course(motion, moved), match_s, clock)
    for stretch in keep_long(runs, motion.real_s, 0.1):
        if bent is not None and not (bent[2].at_s < match_s[stretch.last]).any():
            continue
        if not np.nanmax(away[stretch.frames]) - away[stretch.first] > LET_GO_M:
            continue
        best, u_best = best_mean(speed[stretch.frames], u[stretch.frames], motion.real_s[stretch.frames], 0.1)
        chance = chance_above(best, u_best, LET_GO_M_S)
        if chance < 0.9:
            continue
        at_s, u_at_s = date_crossing(speed, u, motion.real_s, stretch.first, LET_GO_M_S)
        start_s = at_s - clock.start_clip_s * clock.real_per_clip_ratio
        evidence = (
            f"The base of {moved.machine} let go: it reached {format_interval(1000 * best, 1000 * u_best)} mm/s and "
            f"came {1000 * float(np.nanmax(away[stretch.frames])):.0f} mm from where it stood. Limit 30 mm/s by 10 mm; "
            f"camera noise alone bends a standing base's course in {100 * FALSE_ALARMS:.0f} % of runs."
        )
        evidence += _pull_then(pull, match_s, start_s)
        if motion.rope is not None and end is not None:
            evidence += _angle_then(motion.rope, moved, end, match_s, start_s)
            evidence += _leak(moved, pull, match_s)
        return [
            Event(
                "dislodged",
                moved.machine,
                start_s,
                float("nan"),
                float(np.sqrt(u_at_s**2 + clock.u_start_s**2 + LEAPS_S**2 / 12)),
                chance,
                evidence,
            )
        ]
    return []


def _angle_then(rope: RopeMotion, moved: MachineMotion, end: int, match_s: FloatArray, at_s: float) -> str:
    """How the pull ran at a moment: off straight back, and above level."""
    near = np.flatnonzero((np.abs(match_s - at_s) <= 0.05) & np.isfinite(rope.pull_dir_x[:, end]))
    if len(near) == 0:
        return ""
    x, y, z = (float(np.mean(d[near, end])) for d in (rope.pull_dir_x, rope.pull_dir_y, rope.pull_dir_z))
    heading = (
        np.deg2rad(float(np.nanmean(moved.heading_deg[near]))) if np.isfinite(moved.heading_deg[near]).any() else 0.0
    )
    side = np.degrees(np.angle(np.exp(1j * (np.arctan2(y, x) - heading - np.pi))))
    rise = np.degrees(np.arctan2(z, np.hypot(x, y)))
    return f" It pulled {abs(side):.0f}° off straight back and {abs(rise):.0f}° {'up' if rise > 0 else 'down'}wards."


def _leak(moved: MachineMotion, pull: PullSource | None, match_s: FloatArray) -> str:
    """How the hold changed while the base moved steadily: what pulled it is then what it holds."""
    if pull is None:
        return ""
    steady = np.abs(moved.speed_m_s) > np.fmax(CREEP_M_S, K_95 * moved.u_speed_m_s)
    steady &= (match_s > 0) & np.isfinite(pull.tension_N) & (pull.tension_N > K_95 * pull.u_tension_N)
    t_s, hold_N = match_s[steady], pull.tension_N[steady]
    if len(t_s) < 20 or np.ptp(t_s) < LEAKS_FOR_S:
        return ""
    line = fit_line(t_s, hold_N)
    slope, u_slope = line.slope, line.u_slope * np.sqrt(max(1.0, 0.1 / max(typical_step_s(t_s), 1e-3)))
    if abs(slope) < K_95 * u_slope:
        return ""
    return f" While it moved, its hold changed by {format_interval(slope, u_slope)} N/s (95 %)."
