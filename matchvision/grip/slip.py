"""Stretches in which wheels slip, spin or are dragged, named from the hidden states and dated with their spread."""

from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.hidden import Chain, date_entry, entry_window
from matchvision.grip.intervals import Stretch, best_mean, find_stretches, typical_step_s
from matchvision.grip.states import DRAGGED, LOCKED, SLIDING, SPINNING, STATES
from matchvision.mechanics.match import SLIP_LASTS_S, SLIP_SPEED_M_S
from matchvision.records.events import Event, EventKind
from matchvision.records.motion import MatchClock, WheelMotion
from matchvision.uncertainty import format_interval

StateArray = npt.NDArray[np.int64]

#: A change between kinds of slide counts once it lasts this long.
KIND_LASTS_S: Final = 0.3
#: A wheel that chatters lets go again within this: the longest that contact noise and a few frames make of it.
CHATTERS_S: Final = 0.05
#: Slip is told where it more likely lasted 0.15 s than not; how likely stands beside it.
CLAIM: Final = 0.5

#: A time that differs from the limit by no more than this is that time.
LEAST_DIFFERENCE_S: Final = 1e-6

#: Shifts of a course by its uncertainty: middles of equally probable parts of a normal distribution.
_SHIFTS: Final = ndtri((np.arange(41) + 0.5) / 41)
_WORDS: Final = {
    "slip": "its surface moved past the ground",
    "spin": "it spun while the machine stood",
    "dragged": "it was dragged over the ground",
}


def find_slides(chain: Chain, wheel: WheelMotion, looked_at: BoolArray, real_s: FloatArray) -> list[Stretch]:
    """Stretches in which a wheel probably slides, and more likely for 0.15 s than not, `chance_of_slide`.

    Gaps of no more than 0.05 s are taken as part of it, and of 0.15 s where the wheel was not seen, unless the slip
    turns about meanwhile: a wheel that chatters has not gripped again.

    Notes
    -----
    Checked by: tests/grip/test_slip.py::test_slip_is_found_where_it_is
    """
    slip_m_s = wheel.slip_speed_m_s
    slides = (chain.chance[:, list(SLIDING)].sum(axis=1) > 0.5) & np.isfinite(slip_m_s) & looked_at
    seen = np.isfinite(slip_m_s)
    whole: list[Stretch] = []
    for stretch in find_stretches(slides):
        before = whole[-1] if whole else None
        unseen = before is not None and not seen[before.last + 1 : stretch.first].any()
        if (
            before is not None
            and real_s[stretch.first] - real_s[before.last] <= (SLIP_LASTS_S if unseen else CHATTERS_S)
            and slip_m_s[stretch.first] * slip_m_s[before.last] > 0
        ):
            whole[-1] = Stretch(before.first, stretch.last)
        else:
            whole.append(stretch)
    return [stretch for stretch in whole if chance_of_slide(wheel, chain, stretch, real_s) > CLAIM]


def likely_states(chain: Chain, slides: list[Stretch], real_s: FloatArray) -> StateArray:
    """The most probable state in each frame (n,), one of the sliding ones exactly in the stretches given.

    Changes of kind within a slide that last less than `KIND_LASTS_S` are no changes.
    """
    rests = np.array([k for k in range(len(STATES)) if k not in SLIDING])
    sliding = np.array(SLIDING)
    states = rests[np.argmax(chain.chance[:, rests], axis=1)]
    for slide in slides:
        part = slide.frames
        states[part] = sliding[np.argmax(chain.chance[part][:, sliding], axis=1)]
        _drop_short(states, slide, real_s)
    return np.asarray(states, dtype=np.int64)


def name_states(wheel: WheelMotion, states: StateArray) -> tuple[str, ...]:
    """The wheel's state in each frame as a word of `STATES`, or "" where nothing is known."""
    known = np.isfinite(wheel.slip_speed_m_s)
    return tuple(STATES[state] if seen else "" for state, seen in zip(states, known, strict=True))


def kind_of(state: int) -> EventKind:
    """The event kind of a sliding state; a locked wheel is dragged."""
    return "spin" if state == SPINNING else "dragged" if state in {DRAGGED, LOCKED} else "slip"


def slip_events(
    wheel: WheelMotion,
    chain: Chain,
    slides: list[Stretch],
    states: StateArray,
    real_s: FloatArray,
    clock: MatchClock,
) -> list[Event]:
    """Events of one wheel: an event for each stretch of one kind of slide.

    Onset and end are when the slip speed passed 30 mm/s, `date_passing`; a change of kind is dated by the posterior
    mean time of entering it. The probability is that of `chance_of_slide`.
    """
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    events = []
    for whole in slides:
        chance = chance_of_slide(wheel, chain, whole, real_s)
        kinds = [kind_of(int(state)) for state in states[whole.frames]]
        pieces = [0, *(k for k in range(1, len(kinds)) if kinds[k] != kinds[k - 1]), len(kinds)]
        for first, after in pairwise(pieces):
            a, b = whole.first + first, whole.first + after - 1
            kind = kinds[first]
            of_kind = [k for k in SLIDING if kind_of(k) == kind]
            start_s, u_start_s = (
                date_passing(wheel, chain, whole, real_s, leaving=False)
                if first == 0
                else date_entry(chain, of_kind, real_s, a)
            )
            end_s, _ = (
                date_passing(wheel, chain, whole, real_s, leaving=True)
                if b == whole.last
                else date_entry(chain, [k for k in SLIDING if k not in of_kind], real_s, b + 1)
            )
            events.append(
                Event(
                    kind, wheel.machine, start_s - zero_s, max(end_s, start_s) - zero_s, u_start_s, chance,
                    _evidence(wheel, slice(a, b + 1), kind, real_s, int(states[a]) == LOCKED),
                )
            )  # fmt: skip
    return events


def date_passing(
    wheel: WheelMotion, chain: Chain, whole: Stretch, real_s: FloatArray, *, leaving: bool
) -> tuple[float, float]:
    """When the slip speed passed 30 mm/s on the way into a slide, or out of it [s], and the standard uncertainty.

    Between the frames that are surely outside and surely inside, the smoothed slip speed is off by much the same from
    frame to frame: so the passing is taken of the smoothed course moved up and down by its uncertainty, and mean and
    spread are over those. Where slip is not known there, it is the posterior mean time of the change.

    Notes
    -----
    Checked by: tests/grip/test_slip.py::test_slow_onset_is_dated_where_slip_passes_the_limit
    """
    states = [k for k in range(len(STATES)) if k not in SLIDING] if leaving else list(SLIDING)
    frame = min(whole.last + 1, len(real_s) - 1) if leaving else whole.first
    low, high = entry_window(chain, states, frame)
    part = slice(low, high + 1)
    way = np.sign(float(np.nanmedian(wheel.slip_speed_m_s[whole.frames])))
    slip, u, t = way * wheel.slip_speed_m_s[part], wheel.u_slip_speed_m_s[part], real_s[part]
    if not (np.isfinite(slip).all() and np.isfinite(u).all()):
        return date_entry(chain, states, real_s, frame)
    if leaving:
        slip, u, t = slip[::-1], u[::-1], t[::-1]
    passed = np.array([_last_passing(slip + shift * u, t) for shift in _SHIFTS])
    return float(passed.mean()), float(np.hypot(passed.std(), typical_step_s(real_s) / np.sqrt(12)))


def _last_passing(slip: FloatArray, t: FloatArray) -> float:
    """The last moment at which a course rose past 30 mm/s; its first or last one where it never did."""
    below = np.flatnonzero(slip <= SLIP_SPEED_M_S)
    if len(below) == 0:
        return float(t[0])
    k = int(below[-1])
    if k == len(slip) - 1:
        return float(t[-1])
    return _passing(slip, t, k, k + 1)


def _evidence(wheel: WheelMotion, part: slice, kind: str, real_s: FloatArray, locked: bool) -> str:
    slip_m_s, u_m_s = np.abs(wheel.slip_speed_m_s[part]), wheel.u_slip_speed_m_s[part]
    _, u = best_mean(slip_m_s, u_m_s, real_s[part], SLIP_LASTS_S)
    typical, greatest = float(np.nanmedian(slip_m_s)), 1000 * float(np.nanmax(slip_m_s))
    stood = ", standing still," if locked else ""
    return (
        f"Wheel {wheel.wheel} of {wheel.machine}: {_WORDS[kind]}{stood} at "
        f"{format_interval(1000 * typical, 1000 * u)} mm/s (middle value, 95 %) for "
        f"{real_s[part][-1] - real_s[part][0]:.2f} s; up to {greatest:.0f} mm/s. Limit 30 mm/s for 0.15 s."
    )


def chance_of_slide(wheel: WheelMotion, chain: Chain, whole: Stretch, real_s: FloatArray) -> float:
    """Probability that a wheel slid faster than 30 mm/s for 0.15 s somewhere in a stretch.

    Neighbouring frames share what is wrong with the smoothed slip speed: so it is the share of the courses, moved up
    and down by their uncertainty as in `date_passing`, that stay above the limit for so long, gaps of no more than
    0.05 s closed. Counting frames would let a slide that the footage shows well be lost by the two frames in which it
    begins and ends. Where slip is not known all the way, it is the hidden states' own probability.

    Notes
    -----
    Checked by: tests/grip/test_slip.py::test_chance_of_a_short_slide_is_that_of_its_length
    """
    resting = [k for k in range(len(STATES)) if k not in SLIDING]
    first, _ = entry_window(chain, list(SLIDING), whole.first)
    _, last = entry_window(chain, resting, min(whole.last + 1, len(real_s) - 1))
    part = slice(first, last + 1)
    way = np.sign(float(np.nanmedian(wheel.slip_speed_m_s[whole.frames])))
    slip, u = way * wheel.slip_speed_m_s[part], wheel.u_slip_speed_m_s[part]
    if not (np.isfinite(slip).all() and np.isfinite(u).all()):
        return _chance_by_states(chain, whole, real_s)
    lasts = [_longest_above(slip + shift * u, real_s[part]) >= SLIP_LASTS_S - LEAST_DIFFERENCE_S for shift in _SHIFTS]
    return float(np.mean(lasts))


def _longest_above(slip: FloatArray, t: FloatArray) -> float:
    """The longest time [s] that a course stays above 30 mm/s, dated between the frames, short gaps closed."""
    longest, begun, left = 0.0, np.nan, -np.inf
    for stretch in find_stretches(slip > SLIP_SPEED_M_S):
        a, b = stretch.first, stretch.last
        from_s = _passing(slip, t, a - 1, a) if a > 0 else float(t[a])
        to_s = _passing(slip, t, b, b + 1) if b < len(t) - 1 else float(t[b])
        begun = begun if from_s - left <= CHATTERS_S else from_s
        left = to_s
        longest = max(longest, left - begun)
    return longest


def _passing(slip: FloatArray, t: FloatArray, k: int, after: int) -> float:
    """When a course passed 30 mm/s between two frames, straight from one to the other."""
    share = (SLIP_SPEED_M_S - slip[k]) / (slip[after] - slip[k])
    return float(t[k] + share * (t[after] - t[k]))


def _chance_by_states(chain: Chain, whole: Stretch, real_s: FloatArray) -> float:
    """Probability that the wheel slid through 0.15 s of frames without a break, at the surest place in a stretch."""
    frames = max(1, round(SLIP_LASTS_S / max(typical_step_s(real_s), 1e-9)))
    if whole.last - whole.first + 1 < frames:
        return 0.0
    inside = chain.chance[:, list(SLIDING)].sum(axis=1)
    starts = np.arange(whole.first, whole.last - frames + 2)
    least = np.array([float(inside[a : a + frames].min()) for a in starts])
    # The surest few by their weakest frame; the chain itself decides among them.
    best = starts[np.argsort(-least)[:5]]
    return max(chain.stays(SLIDING, int(a), int(a) + frames - 1) for a in best)


def _drop_short(states: npt.NDArray[np.int64], slide: Stretch, real_s: FloatArray) -> None:
    """Give pieces of one kind that are too short to their longer neighbour, the shortest first, in place."""
    first = slide.first
    part = states[slide.frames]
    while True:
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
