"""What happened, dated."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal, get_args

from matchvision.records.gripmap import GripMap

#: What can happen, as the table of events names it.
EventKind = Literal[
    "early-start", "first-motion", "lead-change", "slip", "spin", "dragged", "stall", "held", "anchor-creep",
    "dislodged", "rope-off", "drive-loss", "turned", "contact", "blocked", "reach-out", "lifted", "tipped",
    "off-table", "touch",
]  # fmt: skip
EVENT_KINDS: Final[tuple[EventKind, ...]] = get_args(EventKind)


@dataclass(frozen=True)
class Event:
    """One thing that happened. Times are on the match clock [s]; ``end_s`` is NaN for a moment.

    ``machine`` is empty where no machine is meant. ``evidence`` is a sentence with the numbers it rests on. ``frame``
    is the number of the picture nearest to its beginning, -1 where none is told.
    """

    kind: EventKind
    machine: str
    start_s: float
    end_s: float
    u_start_s: float
    probability: float
    evidence: str
    frame: int = -1


@dataclass(frozen=True, eq=False)
class Grip:
    """Events in order of time, and the state of each wheel in each frame.

    ``grip_state`` maps (machine, wheel) to n words: "gripping", "held" (by a brake or self-locking gear), "slipping",
    "spinning", "dragged", "locked" (dragged without turning), "" (unknown). ``maps``: grip over place and time, of each
    machine whose pull and wheels were measured.
    """

    events: tuple[Event, ...]
    grip_state: Mapping[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)
    maps: tuple[GripMap, ...] = ()
