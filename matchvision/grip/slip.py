"""Whether wheels grip, slip, spin or are dragged, from slip speed and ground speed, and since when."""

from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.grip.intervals import (
    best_mean,
    bridge_gaps,
    chance_above,
    date_crossing,
    find_stretches,
    hold_between,
    keep_long,
)
from matchvision.mechanics.match import SLIP_LASTS_S, SLIP_SPEED_M_S
from matchvision.records.events import Event
from matchvision.records.motion import MachineMotion, MatchClock, WheelMotion
from matchvision.uncertainty import format_interval

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: A wheel slips above this slip speed, either way, once it lasts `SLIP_LASTS_S`: as in the predicted run.
SLIP_M_S: Final = SLIP_SPEED_M_S
#: A dip below the limit by less than this many u, and to no less than two thirds of it, does not part a slip in two.
LEAVE_U: Final = 2.0
#: A machine slower than this stands: its slipping wheels spin.
STANDING_M_S: Final = 0.010
#: A change between slip, spin and dragged counts once it lasts this long.
KIND_LASTS_S: Final = 0.3
#: Slip is claimed only where its best 0.15 s exceed the limit with this probability.
CLAIM: Final = 0.8

WORDS: Final = {"slip": "slipping", "spin": "spinning", "dragged": "dragged"}


def find_slip(wheel: WheelMotion, real_s: FloatArray) -> BoolArray:
    """Frames (n,) in which a wheel slips: |slip speed| above 30 mm/s for at least 0.15 s.

    Gaps in the wheel's track of no more than 0.15 s within a slip are taken as slip.

    Notes
    -----
    Checked by: tests/grip/test_slip.py::test_slip_is_found_where_it_is
    """
    slip_m_s, u_m_s = np.abs(wheel.slip_speed_m_s), wheel.u_slip_speed_m_s
    known = np.isfinite(slip_m_s)
    if not known.any():
        return np.zeros(len(slip_m_s), dtype=np.bool_)
    typical_m_s = float(np.median(u_m_s[known & np.isfinite(u_m_s)])) if np.isfinite(u_m_s[known]).any() else 0.0
    leave_m_s = max(SLIP_M_S - LEAVE_U * typical_m_s, SLIP_M_S * 2 / 3)
    holds = hold_between(slip_m_s, SLIP_M_S, leave_m_s)
    for stretch in find_stretches(holds):
        above = np.flatnonzero(slip_m_s[stretch.frames] > SLIP_M_S)
        holds[stretch.first + int(above[-1]) + 1 : stretch.last + 1] = False
    holds = bridge_gaps(holds & known, real_s, SLIP_LASTS_S)
    slips = np.zeros_like(holds)
    for stretch in keep_long(holds, real_s, SLIP_LASTS_S):
        slips[stretch.frames] = True
    return slips


def sort_slip(
    wheel: WheelMotion, moved: MachineMotion, drive_speed_m_s: FloatArray, slips: BoolArray, real_s: FloatArray
) -> tuple[str, ...]:
    """What kind of slip each frame shows (n words): "slip", "spin", "dragged", or "" where the wheel does not slip.

    Spin: the machine stands. Dragged: the wheel turns slower than the ground passes, and the same way or not at all;
    a wheel that drives against the way its machine is dragged slips. Changes shorter than `KIND_LASTS_S` are no
    changes.
    """
    ground_m_s, surface_m_s = drive_speed_m_s, wheel.surface_speed_m_s
    u_m_s = np.where(np.isfinite(wheel.u_surface_speed_m_s), wheel.u_surface_speed_m_s, 0.0)
    kinds = np.full(len(real_s), "slip", dtype="<U8")
    same_way = (surface_m_s * np.sign(ground_m_s)) > -np.maximum(2 * u_m_s, 0.005)
    kinds[same_way & (np.abs(surface_m_s) < np.abs(ground_m_s))] = "dragged"
    kinds[np.abs(moved.speed_m_s) < STANDING_M_S] = "spin"
    kinds[~slips] = ""
    for whole in find_stretches(slips):
        _drop_short(kinds, whole.first, whole.last, real_s)
    return tuple(str(kind) for kind in kinds)


def name_states(wheel: WheelMotion, kinds: tuple[str, ...]) -> tuple[str, ...]:
    """The wheel's state in each frame: gripping, slipping, spinning, dragged, or "" where nothing is known."""
    known = np.isfinite(wheel.slip_speed_m_s)
    return tuple(WORDS[kind] if kind else ("gripping" if seen else "") for kind, seen in zip(kinds, known, strict=True))


def slip_events(wheel: WheelMotion, kinds: tuple[str, ...], real_s: FloatArray, clock: MatchClock) -> list[Event]:
    """Events of one wheel: an event for each stretch of one kind of slip."""
    slip_m_s = np.abs(wheel.slip_speed_m_s)
    words = np.array(kinds)
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    events = []
    for whole in find_stretches(words != ""):
        pieces = [0, *(np.flatnonzero(words[whole.frames][1:] != words[whole.frames][:-1]) + 1)]
        for first, after in zip(pieces, [*pieces[1:], whole.last + 1 - whole.first], strict=True):
            a, b = whole.first + int(first), whole.first + int(after) - 1
            fresh = a == whole.first
            start_s, u_start_s = date_crossing(slip_m_s, wheel.u_slip_speed_m_s, real_s, a, SLIP_M_S)
            if not fresh:
                start_s, u_start_s = float(real_s[a]), KIND_LASTS_S / np.sqrt(12)
            mean, u = best_mean(slip_m_s[a : b + 1], wheel.u_slip_speed_m_s[a : b + 1], real_s[a : b + 1], SLIP_LASTS_S)
            chance = chance_above(mean, u, SLIP_M_S)
            if chance < CLAIM:
                continue
            what = {
                "slip": "its surface moved past the ground",
                "spin": "it spun while the machine stood",
                "dragged": "it was dragged over the ground",
            }[words[a]]
            typical = float(np.nanmedian(slip_m_s[a : b + 1]))
            greatest = 1000 * float(np.nanmax(slip_m_s[a : b + 1]))
            evidence = (
                f"Wheel {wheel.wheel} of {wheel.machine}: {what} at {format_interval(1000 * typical, 1000 * u)} mm/s "
                f"(middle value, 95 %) for {real_s[b] - real_s[a]:.2f} s; up to {greatest:.0f} mm/s. "
                "Limit 30 mm/s for 0.15 s."
            )
            end_s = float(real_s[b if b == whole.last else b + 1])
            events.append(
                Event(str(words[a]), wheel.machine, start_s - zero_s, end_s - zero_s, u_start_s, chance, evidence)
            )
    return events


def _drop_short(kinds: npt.NDArray[np.str_], first: int, last: int, real_s: FloatArray) -> None:
    """Give pieces of one kind that are too short to their longer neighbour, the shortest first, in place."""
    while True:
        part = kinds[first : last + 1]
        edges = [0, *(np.flatnonzero(part[1:] != part[:-1]) + 1), len(part)]
        if len(edges) <= 2:
            return
        lengths = [float(real_s[first + b - 1] - real_s[first + a]) for a, b in pairwise(edges)]
        k = int(np.argmin(lengths))
        if lengths[k] >= KIND_LASTS_S:
            return
        neighbours = [j for j in (k - 1, k + 1) if 0 <= j < len(lengths)]
        to = max(neighbours, key=lambda j: lengths[j])
        part[edges[k] : edges[k + 1]] = part[edges[to]]
