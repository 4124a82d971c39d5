"""Arms: when they go out, how long it takes, how fast, how hard they stop, and what that does to base and rope."""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.grip.intervals import best_mean, chance_above, date_crossing, keep_long, typical_step_s
from matchvision.records.events import Event
from matchvision.records.motion import ArmMotion, MachineMotion, MatchClock, RopeMotion
from matchvision.records.pull import PullSource
from matchvision.uncertainty import K_95, format_interval

#: An arm has begun to go out once it is out this far.
OUT_M: Final = 0.005
OUT_FOR_S: Final = 0.1
#: It is out once it has gone this share of its way.
ALL_BUT: Final = 0.95
#: Recoil and the rope's shock are looked for this long after the arm has stopped.
AFTER_S: Final = 0.3


def find_reach(
    arm: ArmMotion,
    moved: MachineMotion,
    rope: RopeMotion | None,
    pull: PullSource | None,
    real_s: FloatArray,
    clock: MatchClock,
) -> list[Event]:
    """The arm's way out: dated where it is out 5 mm, with reach time, peak speed, stop, recoil and shock load.

    Going out before the start signal is an early start as well.

    Notes
    -----
    Checked by: tests/grip/test_arms.py::test_reach_is_dated_and_measured
    """
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = real_s - zero_s
    out, u_out = arm.reach_m, arm.u_reach_m
    drawn = np.isfinite(out) & (match_s <= np.nanmax([0.0, match_s[0] + 0.2]))
    rest_m = float(np.median(out[drawn])) if drawn.any() else 0.0
    gone = out - rest_m
    looked = match_s <= clock.duration_s
    for stretch in keep_long((gone > OUT_M) & looked, real_s, OUT_FOR_S):
        best, u_best = best_mean(gone[stretch.frames], u_out[stretch.frames], real_s[stretch.frames], OUT_FOR_S)
        chance = chance_above(best, u_best, OUT_M)
        if chance < 0.95 or stretch.first == 0:
            continue
        at_s, u_at_s = date_crossing(gone, u_out, real_s, stretch.first, OUT_M)
        u_start_s = float(np.hypot(u_at_s, clock.u_start_s))
        start_s = at_s - zero_s
        last = _last_of_way(gone, stretch.first, stretch.last)
        evidence = _describe(arm, gone, stretch.first, last, at_s, u_at_s, real_s)
        evidence += _recoil(arm, moved, stretch.first, last, real_s)
        evidence += _shock(rope, pull, at_s, real_s)
        found = [Event("reach-out", arm.machine, start_s, float(real_s[last]) - zero_s, u_start_s, chance, evidence)]
        early = chance_above(-start_s, u_start_s, 0.0)
        if early > 0.975 and not clock.source.startswith("first motion"):
            text = f"The arm of {arm.machine} went out {format_interval(-1000 * start_s, 1000 * u_start_s)} ms (95 %) "
            found.append(
                Event(
                    "early-start",
                    arm.machine,
                    start_s,
                    float("nan"),
                    u_start_s,
                    early,
                    text + "before the start signal.",
                )
            )
        return found
    return []


def _last_of_way(gone: FloatArray, first: int, last: int) -> int:
    """Frame in which the arm has come within 5 % of as far as it gets in the second after it began."""
    part = gone[first : last + 1]
    most = float(np.nanmax(part))
    return first + int(np.argmax(np.nan_to_num(part) >= ALL_BUT * most))


def _describe(
    arm: ArmMotion, gone: FloatArray, first: int, last: int, at_s: float, u_at_s: float, real_s: FloatArray
) -> str:
    step_s = typical_step_s(real_s)
    after = min(len(real_s) - 1, last + max(2, round(0.15 / step_s)))
    way = slice(first, after + 1)
    top = first + int(np.nanargmax(arm.speed_m_s[way]))
    stop = top + int(np.nanargmin(arm.accel_m_s2[top : after + 1])) if after > top else top
    lasted_s, u_lasted_s = float(real_s[last]) - at_s, float(np.hypot(u_at_s, step_s / np.sqrt(12)))
    most, u_most = float(np.nanmax(gone[way])), float(np.nanmedian(arm.u_reach_m[way]))
    return (
        f"The arm of {arm.machine} went out {format_interval(1000 * most, 1000 * u_most)} mm in "
        f"{format_interval(lasted_s, u_lasted_s)} s (from 5 mm to 95 % of its way), at up to "
        f"{format_interval(float(arm.speed_m_s[top]), float(arm.u_speed_m_s[top]))} m/s, and stopped at "
        f"{format_interval(-float(arm.accel_m_s2[stop]), float(arm.u_accel_m_s2[stop]))} m/s² at the most (95 %; "
        "mean over about a frame)."
    )


def _recoil(arm: ArmMotion, moved: MachineMotion, first: int, last: int, real_s: FloatArray) -> str:
    """How far the base was thrown about while the arm went out and stopped."""
    before = (real_s > real_s[first] - 0.2) & (real_s < real_s[first])
    during = (real_s >= real_s[first]) & (real_s <= real_s[last] + AFTER_S)
    if not np.isfinite(moved.x_m[before]).any() or not np.isfinite(moved.x_m[during]).any():
        return ""
    away = moved.x_m[during] - float(np.nanmedian(moved.x_m[before]))
    far = float(away[int(np.nanargmax(np.abs(away)))])
    # The camera's lasting error is common to both; frame noise is what is left.
    u_m = float(np.nanmedian(np.abs(np.diff(moved.x_m[before])))) if before.sum() > 2 else float("nan")
    u_m = max(u_m, 0.0002)
    if abs(far) < K_95 * u_m:
        return " Its base did not move by it."
    return f" Its base moved {format_interval(1000 * abs(far), 1000 * u_m)} mm meanwhile and up to 0.3 s after (95 %)."


def _shock(rope: RopeMotion | None, pull: PullSource | None, after_s: float, real_s: FloatArray) -> str:
    """The rope's shock load, where it snapped taut after the arm went out and the pull is known."""
    if rope is None or pull is None:
        return ""
    taut = np.flatnonzero((rope.slack[1:] == 0) & (rope.slack[:-1] == 1) & (real_s[1:] > after_s)) + 1
    if len(taut) == 0:
        return ""
    first = int(taut[0])
    soon = slice(first, int(np.searchsorted(real_s, real_s[first] + AFTER_S)) + 1)
    tension_N = pull.tension_N[soon]
    if not np.isfinite(tension_N).any():
        return ""
    peak = first + int(np.nanargmax(tension_N))
    load = format_interval(float(pull.tension_N[peak]), float(pull.u_tension_N[peak]), "N")
    return f" The rope snapped taut {real_s[first] - after_s:.2f} s later, with up to {load} (95 %) within 0.3 s."
