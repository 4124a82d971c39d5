"""Where on the table a wheel slid, with which grip, and whether it gripped at the same place at another time."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.grip.intervals import typical_step_s
from matchvision.grip.states import GRIPPING, SLIDING
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock
from matchvision.records.pull import Traction
from matchvision.records.sheet import Wheel
from matchvision.uncertainty import format_interval

StateArray = npt.NDArray[np.int64]

#: A wheel was at the same place where it was within this of where it slid [m] …
SAME_PLACE_M: Final = 0.015
#: … for at least this long, gripping, and so long before or after the slide.
GRIPS_FOR_S: Final = 0.2
APART_S: Final = 0.3
#: What a wheel used just before it let go is taken over this time.
BEFORE_S: Final = 0.3


def wheel_place(moved: MachineMotion, wheel: Wheel) -> tuple[FloatArray, FloatArray]:
    """Where a wheel's face stands on the table (n,), x and y [m]; the body level."""
    heading = np.deg2rad(moved.heading_deg)
    along, across = wheel.face_m[0], wheel.face_m[1]
    return (
        moved.x_m + np.cos(heading) * along - np.sin(heading) * across,
        moved.y_m + np.sin(heading) * along + np.cos(heading) * across,
    )


def describe_place(
    event: Event,
    wheel: Wheel,
    moved: MachineMotion,
    states: StateArray,
    traction: Traction | None,
    real_s: FloatArray,
    clock: MatchClock,
) -> str:
    """Where it slid and with which grip, as sentences for a slide's evidence; "" where nothing can be said.

    A slippery place is told from something that came onto it, or went: had the wheel gripped there before, or did so
    after, using as much grip as it slid with. Where the pull is not known that cannot be told.

    Notes
    -----
    Checked by: tests/grip/test_places.py::test_grip_at_the_same_place_before_is_told
    """
    match_s = real_s - clock.start_clip_s * clock.real_per_clip_ratio
    during = (match_s >= event.start_s) & (match_s <= event.end_s)
    x, y = wheel_place(moved, wheel)
    known = during & np.isfinite(x)
    if not known.any():
        return ""
    side = "left" if wheel.face_m[1] > 0 else "right"
    said = f" On its {side} side, x from {np.min(x[known]):.2f} to {np.max(x[known]):.2f} m."
    said += _grip_used(traction, match_s, during, event.start_s)
    near = np.zeros(len(x), dtype=np.bool_)
    for k in np.flatnonzero(known)[:: max(1, int(known.sum()) // 20)]:
        near |= np.hypot(x - x[k], y - y[k]) < SAME_PLACE_M
    gripped = near & (states == GRIPPING) & np.isfinite(x)
    if traction is None:
        return said
    slid = float(np.nanmedian(traction.grip_used[known])) if np.isfinite(traction.grip_used[known]).any() else np.nan
    gripped &= traction.grip_used > slid
    step_s = typical_step_s(real_s)
    before = gripped & (match_s < event.start_s - APART_S)
    after = gripped & (match_s > event.end_s + APART_S)
    if before.sum() * step_s >= GRIPS_FOR_S:
        earlier = event.start_s - float(match_s[before][-1])
        said += (
            f" It had gripped at this place with more {earlier:.1f} s before, so the place alone does not explain it."
        )
    elif after.sum() * step_s >= GRIPS_FOR_S:
        later = float(match_s[after][0]) - event.end_s
        said += f" It gripped at this place with more {later:.1f} s after, so the place alone does not explain it."
    return said


def _grip_used(traction: Traction | None, match_s: FloatArray, during: npt.NDArray[np.bool_], start_s: float) -> str:
    """Traction over load while it slid, and just before it let go; for all driven wheels together."""
    if traction is None:
        return ""
    before = (match_s > start_s - BEFORE_S) & (match_s < start_s)
    words = []
    for part in (during, before):
        usable = part & np.isfinite(traction.grip_used) & np.isfinite(traction.u_grip_used)
        if usable.sum() >= 3:
            u = float(np.median(traction.u_grip_used[usable]))
            words.append(format_interval(float(np.median(traction.grip_used[usable])), u))
        else:
            words.append("")
    if not words[0]:
        return ""
    return f" Grip used while it slid: {words[0]}" + (f", just before: {words[1]} (95 %)." if words[1] else " (95 %).")


def describe_other_side(event: Event, others: list[tuple[Wheel, StateArray]], wheel: Wheel, match_s: FloatArray) -> str:
    """What the marked wheels on the machine's other side did meanwhile; "" where none is watched."""
    during = (match_s >= event.start_s) & (match_s <= event.end_s)
    for other, states in others:
        if other.face_m[1] * wheel.face_m[1] >= 0 or not during.any():
            continue
        share = float(np.isin(states[during], SLIDING).mean())
        if share < 0.1:
            return " The wheels on its other side gripped meanwhile."
        if share > 0.9:
            return " The wheels on its other side slid as well."
        return f" The wheels on its other side slid for {100 * share:.0f} % of that time."
    return ""
