"""The seconds before the start signal: hands, set-up time, triggers that go off too early or never."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.intervals import best_mean, bridge_gaps, chance_above, date_crossing, keep_long
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, Motion, WheelMotion
from matchvision.records.sheet import Run

#: Wheels run before the start where their surface is faster than this for a tenth of a second.
TURNS_M_S: Final = 0.030
TURNS_FOR_S: Final = 0.1
#: A hand still moves things this long after it was last seen over the table.
HAND_LEAVES_S: Final = 0.2
#: How far back before the signal is looked where no hand was watched for: hands set things up.
UNWATCHED_S: Final = 1.0


def hands_off(match_s: FloatArray, touches: Sequence[Event] | None) -> BoolArray:
    """Frames (n,) in which no hand is in view over the table; without a watch for hands, those from 1 s before on."""
    free = np.ones(len(match_s), dtype=np.bool_)
    if touches is None:
        return np.asarray(match_s >= -UNWATCHED_S)
    for touch in touches:
        free &= ~((match_s >= touch.start_s - HAND_LEAVES_S) & (match_s <= touch.end_s + HAND_LEAVES_S))
    return free


def find_early_wheels(wheel: WheelMotion, real_s: FloatArray, free: BoolArray, clock: MatchClock) -> list[Event]:
    """Wheels that run under drive before the start signal, whether or not their machine moves.

    Notes
    -----
    Checked by: tests/grip/test_beforehand.py::test_wheels_that_run_too_early_are_dated
    """
    if not wheel.driven or clock.source.startswith("first motion"):
        return []
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    match_s = real_s - zero_s
    surface, u = np.abs(wheel.surface_speed_m_s), wheel.u_surface_speed_m_s
    runs = bridge_gaps((surface > TURNS_M_S) & free & (match_s < 0), real_s, TURNS_FOR_S / 2)
    for stretch in keep_long(runs, real_s, TURNS_FOR_S):
        if stretch.first == 0 or not free[stretch.first - 1]:
            continue
        best, u_best = best_mean(surface[stretch.frames], u[stretch.frames], real_s[stretch.frames], TURNS_FOR_S)
        at_s, u_at_s = date_crossing(surface, u, real_s, stretch.first, TURNS_M_S)
        start_s, u_start_s = at_s - zero_s, float(np.hypot(u_at_s, clock.u_start_s))
        chance = chance_above(best, u_best, TURNS_M_S) * chance_above(-start_s, u_start_s, 0.0)
        if chance < 0.95:
            continue
        evidence = (
            f"Wheel {wheel.wheel} of {wheel.machine} ran at up to {1000 * best:.0f} mm/s before the start signal, from "
            f"{start_s:.2f} s on, with no hand in view."
        )
        return [Event("early-start", wheel.machine, start_s, float("nan"), u_start_s, chance, evidence)]
    return []


def describe_setting_up(run: Run, touches: Sequence[Event] | None, first_s: float) -> tuple[str, str]:
    """How long the setting up took, as far as it is in view, as a sentence; and a warning where it took too long.

    ``first_s`` is the match time of the first picture: a hand that is there already may have been there for long.
    """
    before = [t for t in touches or () if t.start_s < 0]
    if not before:
        return "", ""
    begin_s, end_s = min(t.start_s for t in before), max(min(t.end_s, 0.0) for t in before)
    took_s = end_s - begin_s
    cut = begin_s <= first_s + 0.2
    said = (
        f" Hands were over the table for {'at least ' if cut else ''}{took_s:.1f} s before the start, the last until "
        f"{-end_s:.1f} s before it."
    )
    limit_s = run.sheet.rules.setup_limit_s
    if limit_s is not None and took_s > limit_s:
        return said, f"setting up took {took_s:.1f} s in view, and the rules allow {limit_s:g} s"
    return said, ""


def idle_machines(run: Run, motion: Motion, events: Sequence[Event], clock: MatchClock) -> list[str]:
    """Machines with a watched driven wheel that never turned it forward: their trigger may not have gone off.

    One that is drawn along, its wheels standing or turning backwards, has moved, but not by its drive; one that stalled
    has tried. Runs in which nothing is to drive are left out.
    """
    if run.sheet.run.kind in {"slope", "coast"}:
        return []
    match_s = clock.match_time(motion.clip_s)
    during = (match_s > 0) & (match_s <= clock.duration_s)
    idle = []
    for name in motion.machines:
        wheels = [w for w in motion.wheels if w.machine == name and w.driven and np.isfinite(w.rate_rad_s).any()]
        if not wheels or any(e.machine == name and e.kind in {"spin", "slip", "stall"} for e in events):
            continue
        if max(float(np.nanmax(w.surface_speed_m_s[during], initial=0.0)) for w in wheels) < TURNS_M_S:
            idle.append(name)
    return idle
