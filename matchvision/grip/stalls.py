"""Driven wheels that stand under drive, also where the rope rocks them."""

from collections.abc import Iterator
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.grip.intervals import (
    Stretch,
    bridge_gaps,
    chance_above,
    date_crossing,
    keep_long,
    typical_step_s,
)
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock, WheelMotion
from matchvision.records.pull import Traction
from matchvision.uncertainty import format_interval

#: A driven wheel stalls below this rate, under drive, for this long.
STALL_RAD_S: Final = 0.1
STALL_FOR_S: Final = 1.0
#: So much it may turn in that time: what a rope that stretches and recoils rocks it by is no turning on.
STALL_RAD: Final = STALL_RAD_S * STALL_FOR_S
#: A wheel that is stopped at once swings on in its smoother for as long as its window is wide (rectangular).
STOPS_S: Final = 0.06
#: Frames in which the drive seems off, or the wheel is not seen, part no stall for so long. Before them it was on as
#: surely as after.
UNSURE_FOR_S: Final = 0.1
#: A log of commands below this share is no drive.
DRIVEN_SHARE: Final = 0.05


def find_stalls(
    wheel: WheelMotion,
    real_s: FloatArray,
    clock: MatchClock,
    *,
    traction: Traction | None,
    commands: npt.NDArray[np.float64] | None,
) -> list[Event]:
    """Stretches of at least 1 s under drive in which a driven wheel turns, either way, by less than 0.1 rad a second.

    They begin where its rate falls below 0.1 rad/s, if it then stays within 0.1 rad of there for a second, and last
    until it has turned by 0.1 rad within one: a wheel that a stretching rope rocks about where it stands has stopped
    when it first did. That the drive was on must be known, from a log of the commands or from traction in the drive
    direction; without either a standing wheel is no stall, since it may simply have been switched off.

    Notes
    -----
    A turn is the difference of two angles, which a bump of the smoothed rate between them does not change. The
    probability is that of having turned so little, times that of the second.
    Checked by: tests/grip/test_stalls.py::test_wheel_that_the_rope_rocks_stalls_where_it_first_stands
    """
    zero_s, frame_s = clock.start_clip_s * clock.real_per_clip_ratio, typical_step_s(real_s)
    match_s = real_s - zero_s
    if commands is not None:
        # Left and right shares, where they are logged apart, drive one machine.
        driven = np.interp(match_s, commands[:, 0], np.abs(commands[:, 1:]).max(axis=1)) > DRIVEN_SHARE
        source = "by the log of its commands"
    elif traction is not None:
        driven = traction.traction_N > np.fmax(2 * traction.u_traction_N, 0.5)
        source = "as its traction shows"
    else:
        return []
    asked = driven & np.isfinite(wheel.rate_rad_s) & np.isfinite(wheel.angle_rad) & (match_s > 0)
    events = []
    for part in keep_long(bridge_gaps(asked, real_s, UNSURE_FOR_S), real_s, STALL_FOR_S):
        for stand in _stands(wheel, real_s, part):
            at_s, u_at_s = _date_standing(wheel, real_s, stand.first, part.first)
            # It ended somewhere between the last frame and the next.
            lasted_s = float(real_s[stand.last]) - at_s + frame_s / 2
            u_lasted_s = float(np.hypot(u_at_s, frame_s / 12**0.5))
            turned, u_turned = _turn_within(wheel, real_s, stand)
            chance = chance_above(-turned, u_turned, -STALL_RAD) * chance_above(lasted_s, u_lasted_s, STALL_FOR_S)
            if chance < 0.5:
                continue
            evidence = (
                f"Wheel {wheel.wheel} of {wheel.machine} turned by no more than "
                f"{format_interval(turned, u_turned)} rad (95 %) in any second for "
                f"{format_interval(lasted_s, u_lasted_s)} s under drive, {source}. Limit 0.1 rad/s for 1 s."
            )
            # What turns it on has begun where it was last slow.
            slow = np.flatnonzero(np.abs(wheel.rate_rad_s[stand.frames]) < STALL_RAD_S)
            last = stand.first + int(slow[-1]) if len(slow) and stand.last < part.last else stand.last
            end_s = float(real_s[last]) - zero_s
            events.append(Event("stall", wheel.machine, at_s - zero_s, end_s, u_at_s, chance, evidence))
    return events


def _stands(wheel: WheelMotion, real_s: FloatArray, part: Stretch) -> Iterator[Stretch]:
    """Stretches of a driven part in which the wheel, once slow, turns by less than 0.1 rad in any second."""
    slow = np.abs(wheel.rate_rad_s) < STALL_RAD_S
    k = part.first
    while k <= part.last:
        if not (_comes_to_stand(wheel.rate_rad_s, k) or (k == part.first and slow[k])):
            k += 1
            continue
        last = _stands_until(wheel.angle_rad, real_s, k, part.last)
        if real_s[last] - real_s[k] < STALL_FOR_S - 2 * UNSURE_FOR_S:
            k += 1
            continue
        yield Stretch(k, last)
        k = last + 1


def _comes_to_stand(rate: FloatArray, k: int) -> bool:
    """Whether a rate passed below the limit's size into a frame, or through nothing at once."""
    if k == 0 or not np.isfinite(rate[k - 1]) or abs(rate[k - 1]) < STALL_RAD_S:
        return False
    return bool(abs(rate[k]) < STALL_RAD_S or rate[k] * rate[k - 1] < 0)


def _stands_until(angle: FloatArray, real_s: FloatArray, first: int, last: int) -> int:
    """The last frame until which an angle changed by less than the limit in any second from ``first`` on."""
    for k in range(first + 1, last + 1):
        begin = max(first, int(np.searchsorted(real_s, real_s[k] - STALL_FOR_S)))
        if np.nanmax(np.abs(angle[begin:k] - angle[k]), initial=0.0) > STALL_RAD:
            return k - 1
    return last


def _turn_within(wheel: WheelMotion, real_s: FloatArray, stand: Stretch) -> tuple[float, float]:
    """By how much a wheel turned in that second of a stretch in which it turned most, and the u of that [rad]."""
    most, u_most = 0.0, float(np.nanmedian(wheel.u_angle_rad[stand.frames])) * 2**0.5
    for k in range(stand.first + 1, stand.last + 1):
        begin = max(stand.first, int(np.searchsorted(real_s, real_s[k] - STALL_FOR_S)))
        apart = np.abs(wheel.angle_rad[begin:k] - wheel.angle_rad[k])
        if np.isfinite(apart).any() and np.nanmax(apart) > most:
            far = begin + int(np.nanargmax(apart))
            most, u_most = float(apart[far - begin]), float(np.hypot(wheel.u_angle_rad[far], wheel.u_angle_rad[k]))
    return most, u_most


def _date_standing(wheel: WheelMotion, real_s: FloatArray, stands: int, from_frame: int) -> tuple[float, float]:
    """When a wheel came to stand: between the frame from which its rate may be nothing and the first in which it is.

    One that is stopped at once swings on in its smoother by its uncertainty; one that slows down passes both together.
    """
    rate, u = wheel.rate_rad_s, wheel.u_rate_rad_s
    if not _comes_to_stand(rate, stands):
        # It stood when the drive came on, or was first known to be.
        return float(real_s[stands]), UNSURE_FOR_S / 12**0.5
    slowing = -np.sign(rate[stands - 1]) * rate
    at_s, u_at_s = date_crossing(slowing, u, real_s, stands, -STALL_RAD_S)
    may = stands
    while may > from_frame and 0 < -slowing[may - 1] < max(STALL_RAD_S, 2 * float(u[may - 1])):
        may -= 1
    between_s, u_may_s = 0.0, u_at_s
    if may < stands:
        may_s, u_may_s = date_crossing(slowing, u, real_s, may, -max(STALL_RAD_S, 2 * float(u[may])))
        between_s = max(at_s - may_s, 0.0)
    variance = (between_s**2 + STOPS_S**2) / 12 + (u_at_s**2 + u_may_s**2) / 4
    return at_s - between_s / 2, float(np.sqrt(variance))
