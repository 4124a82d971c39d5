"""What slides of wheels are called, slip, spin or dragged, from the hidden states; and the events they make."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.grip.hidden import Chain, date_entry
from matchvision.grip.intervals import Stretch, best_mean
from matchvision.grip.spells import Slide
from matchvision.grip.states import DRAGGED, LOCKED, SLIDING, SPINNING, STATES
from matchvision.mechanics.match import SLIP_LASTS_S
from matchvision.records.events import Event, EventKind
from matchvision.records.motion import MatchClock, WheelMotion
from matchvision.uncertainty import format_interval

StateArray = npt.NDArray[np.int64]

#: A change between kinds of slide counts once it lasts this long.
KIND_LASTS_S: Final = 0.3
_WORDS: Final = {
    "slip": "its surface moved past the ground",
    "spin": "it spun while the machine stood",
    "dragged": "it was dragged over the ground",
}


def likely_states(chain: Chain, slides: Sequence[Stretch], real_s: FloatArray) -> StateArray:
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
    slides: Sequence[Slide],
    states: StateArray,
    real_s: FloatArray,
    clock: MatchClock,
) -> list[Event]:
    """Events of one wheel: an event for each stretch of one kind of slide.

    Onset, end and probability are the slide's; a change of kind is dated by the posterior mean time of entering it.
    """
    zero_s = clock.start_clip_s * clock.real_per_clip_ratio
    events = []
    for whole in slides:
        kinds = [kind_of(int(state)) for state in states[whole.frames]]
        pieces = [0, *(k for k in range(1, len(kinds)) if kinds[k] != kinds[k - 1]), len(kinds)]
        for first, after in pairwise(pieces):
            a, b = whole.first + first, whole.first + after - 1
            kind = kinds[first]
            of_kind = [k for k in SLIDING if kind_of(k) == kind]
            start_s, u_start_s = (
                (whole.start_s, whole.u_start_s) if first == 0 else date_entry(chain, of_kind, real_s, a)
            )
            end_s = (
                whole.end_s
                if b == whole.last
                else date_entry(chain, [k for k in SLIDING if k not in of_kind], real_s, b + 1)[0]
            )
            events.append(
                Event(
                    kind, wheel.machine, start_s - zero_s, max(end_s, start_s) - zero_s, u_start_s, whole.chance,
                    _evidence(wheel, slice(a, b + 1), kind, real_s, int(states[a]) == LOCKED),
                )
            )  # fmt: skip
    return events


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
