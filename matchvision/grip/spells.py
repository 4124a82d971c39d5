"""Spells of sliding, by the letter of their definition, in every course that a wheel's slip may have taken."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.intervals import Stretch, find_stretches, typical_step_s
from matchvision.mechanics.match import SLIP_LASTS_S, SLIP_SPEED_M_S
from matchvision.records.motion import WheelMotion

#: A wheel that chatters lets go again within this: the longest that contact noise and a few frames make of it.
CHATTERS_S: Final = 0.05
#: Slip is told where it is more likely than not; how likely stands beside it.
CLAIM: Final = 0.5
#: A time that differs from a limit by no more than this is that time.
LEAST_DIFFERENCE_S: Final = 1e-6
#: Shifts of a course by its uncertainty: middles of equally probable parts of a normal distribution.
_SHIFTS: Final = ndtri((np.arange(41) + 0.5) / 41)


@dataclass(frozen=True)
class Spell:
    """A spell of sliding in one course: its frames, and when it began and ended between them [s]."""

    course: int
    frames: Stretch
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Slide(Stretch):
    """Frames in which a wheel slides in most courses, when it began and ended [s], and how many have it begin there."""

    start_s: float
    u_start_s: float
    end_s: float
    chance: float


def courses_of(wheel: WheelMotion) -> FloatArray:
    """Courses (m, n) of the slip speed [m/s]: as drawn; where none are, the smoothed one up and down by its u.

    The latter takes what is wrong with it for the same throughout.
    """
    if len(wheel.slip_courses_m_s):
        return wheel.slip_courses_m_s
    return np.asarray(wheel.slip_speed_m_s + _SHIFTS[:, None] * wheel.u_slip_speed_m_s)


def find_slides(wheel: WheelMotion, looked_at: BoolArray, real_s: FloatArray) -> list[Slide]:
    """Slides of a wheel in order of time: where, when, and how probably; ``looked_at`` (n,) is where to look.

    A spell of sliding is slip of one way, faster than 30 mm/s for 0.15 s; gaps of no more than 0.05 s are part of it,
    and of 0.15 s where the wheel was not seen: a wheel that chatters has not gripped again. Every course of the slip
    has its own spells. Frames that lie in one in most courses make a slide, and two slides are told apart where
    most courses part them. Its dates are means over the courses, with their spread.

    Notes
    -----
    A probability of what a whole course does, from courses drawn from what is known of it: no frame is counted twice,
    however much its neighbours say the same.
    Checked by: tests/grip/test_spells.py::test_two_slips_are_told_apart_as_surely_as_their_gap_is_known
    """
    courses, seen = courses_of(wheel), np.isfinite(wheel.slip_speed_m_s)
    slides: list[Slide] = []
    for way in (1.0, -1.0):
        spells = [s for m, course in enumerate(courses) for s in spells_of(m, way * course, seen, real_s)]
        count = np.zeros(len(real_s) + 1)
        for spell in spells:
            count[spell.frames.first] += 1
            count[spell.frames.last + 1] -= 1
        share = np.cumsum(count[:-1]) / max(len(courses), 1)
        told = find_stretches((share > CLAIM) & looked_at)
        slides += _part(told, spells, share, len(courses), real_s)
    return sorted(slides, key=lambda slide: slide.first)


def spells_of(course: int, slip: FloatArray, seen: BoolArray, real_s: FloatArray) -> list[Spell]:
    """Spells in one course (n,), positive where it slides the way looked for; ``seen``: frames with a slip speed."""
    joined: list[Spell] = []
    for part in find_stretches(slip > SLIP_SPEED_M_S):
        a, b = part.first, part.last
        from_s = _passing(slip, real_s, a - 1, a) if a > 0 else float(real_s[a])
        to_s = _passing(slip, real_s, b, b + 1) if b < len(slip) - 1 else float(real_s[b])
        if joined:
            before = joined[-1]
            unseen = not seen[before.frames.last + 1 : a].any()
            if from_s - before.to_s <= (SLIP_LASTS_S if unseen else CHATTERS_S):
                joined[-1] = Spell(course, Stretch(before.frames.first, b), before.from_s, to_s)
                continue
        joined.append(Spell(course, part, from_s, to_s))
    return [spell for spell in joined if spell.to_s - spell.from_s >= SLIP_LASTS_S - LEAST_DIFFERENCE_S]


def _part(
    told: Sequence[Stretch], spells: Sequence[Spell], share: FloatArray, courses: int, real_s: FloatArray
) -> list[Slide]:
    """Slides of one way from stretches in which most courses slide: one that most do not begin anew goes on."""
    parts: list[Stretch] = []
    cuts_s: list[float] = []
    for here in told:
        parted_s = -np.inf
        if parts:
            between = slice(parts[-1].last + 1, here.first)
            parted_s = float(real_s[between][share[between] == share[between].min()].mean())
            if len(_starts(here, spells, parted_s)) <= CLAIM * courses:
                parts[-1] = Stretch(parts[-1].first, here.last)
                continue
        cuts_s.append(parted_s)
        parts.append(here)
    slides = []
    for k, here in enumerate(parts):
        before_s = cuts_s[k + 1] if k + 1 < len(parts) else np.inf
        begun = _starts(here, spells, cuts_s[k])
        ended = {s.course: s.to_s for s in spells if _meet(s.frames, here) and s.to_s < before_s}
        start = np.array(list(begun.values()))
        u_start_s = float(np.hypot(start.std(), typical_step_s(real_s) / np.sqrt(12)))
        # Where every course goes on sliding into what comes next, it ends with its last frame.
        end_s = float(np.mean(list(ended.values()))) if ended else float(real_s[here.last])
        slides.append(Slide(here.first, here.last, float(start.mean()), u_start_s, end_s, len(begun) / courses))
    return slides


def _starts(here: Stretch, spells: Sequence[Spell], after_s: float) -> dict[int, float]:
    """When the first spell that meets a stretch begins in each course that has one begin after some moment."""
    begun: dict[int, float] = {}
    for spell in spells:
        if spell.from_s > after_s and _meet(spell.frames, here):
            begun.setdefault(spell.course, spell.from_s)
    return begun


def _meet(one: Stretch, other: Stretch) -> bool:
    return one.first <= other.last and one.last >= other.first


def _passing(slip: FloatArray, t: FloatArray, k: int, after: int) -> float:
    """When a course passed 30 mm/s between two frames, straight from one to the other; at the known one of them."""
    if not np.isfinite(slip[k]):
        return float(t[after])
    if not np.isfinite(slip[after]):
        return float(t[k])
    share = (SLIP_SPEED_M_S - slip[k]) / (slip[after] - slip[k])
    return float(t[k] + share * (t[after] - t[k]))
