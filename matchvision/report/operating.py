"""What the operator did, where it was logged, for the page to show beside what happened."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.results import Analysis

#: A change of the share of full drive that is worth a line.
CHANGE_RATIO: Final = 0.02
#: Lines shown at most; a log that changes all the time is shown by its largest changes.
MOST_LINES: Final = 40


@dataclass(frozen=True)
class Command:
    """One change: when on the match clock, whose, and what was set."""

    at_s: float
    machine: str
    words: str


def logged_commands(analysis: Analysis) -> list[Command]:
    """Changes of each machine's logged commands, in order of time."""
    found: list[tuple[float, Command]] = []
    for machine, log in analysis.run.commands.items():
        before = np.zeros(log.shape[1] - 1)
        for row in log:
            change = float(np.abs(row[1:] - before).max())
            if change >= CHANGE_RATIO:
                found.append((change, Command(float(row[0]), machine, _words(row[1:], before))))
                before = row[1:]
    largest = sorted(found, key=lambda pair: -pair[0])[:MOST_LINES]
    return sorted((command for _, command in largest), key=lambda command: command.at_s)


def _words(now: FloatArray, before: FloatArray) -> str:
    """Shares of full drive as set now and as they were."""
    sides = ("drive",) if len(now) == 1 else ("left drive", "right drive")
    return ", ".join(
        f"{side} from {100 * was:.0f} % to {100 * share:.0f} %"
        for side, share, was in zip(sides, now, before, strict=True)
        if abs(share - was) >= CHANGE_RATIO or len(now) == 1
    )
