"""How long the work will take, and how surely: from runs that were timed, else from what one machine needed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import stdtrit

from matchvision.errors import FootageError
from matchvision.records.sheet import Run
from matchvision.season.tasks import Step

#: Seconds of one core for a run, and for each of its pictures: what is said before any run was timed here, with a
#: factor of two either way for another machine. A run of 43 pictures took 3 s, its causes 8 s on a quiet machine; what
#: a picture adds was taken from runs of 360 and 1816 on a busy one, by the time that other work left them.
USUAL_S: Final[dict[Step, tuple[float, float]]] = {
    "answer": (1.5, 0.035),
    "causes": (7.0, 0.01),
    "remedies": (4.0, 0.002),
}
USUAL_FACTOR: Final = 2.0
#: Work that surely ends sooner [s] needs no more words.
FEW_MINUTES_S: Final = 300.0
#: From so many timed runs on their own scatter is known well enough to be told.
ENOUGH: Final = 3


@dataclass(frozen=True)
class Estimate:
    """Time of a wall clock [s] for one step of so many runs, and between which bounds it lies (95 %).

    ``timed``: runs of this machine that it rests on; 0 where none was timed and a factor of two stands in.
    """

    step: Step
    runs: int
    takes_s: float
    low_s: float
    high_s: float
    timed: int


def count_pictures(run: Run) -> float:
    """Pictures in the run's part of its clip, by the file's own account; 0 where it has none."""
    from matchvision.footage.opening import open_clip

    try:
        with open_clip(run.clip) as (container, stream):
            rate = float(stream.average_rate or 0.0)
            length_s = 0.0
            if stream.duration and stream.time_base:
                length_s = float(stream.duration * stream.time_base)
            elif container.duration:
                length_s = container.duration / 1e6  # libav counts a file's length in microseconds
    except FootageError:
        return 0.0
    from_s, until_s = run.sheet.clock.from_s or 0.0, run.sheet.clock.until_s
    part_s = (length_s if until_s is None else min(until_s, length_s)) - from_s
    return max(0.0, part_s * rate)


def estimate(step: Step, pictures: Sequence[float], paces: Sequence[tuple[float, float]], workers: int) -> Estimate:
    """How long ``workers`` will have runs of so many pictures.

    Parameters
    ----------
    pictures : of each run that is still to be done.
    paces : pictures and seconds of each run that was timed.

    Notes
    -----
    Time per picture as the ratio of sums; its u is the scatter of the runs' own ratios over √k, and the scatter of the
    runs to come, over √n, adds to it; 95 % by Student's t with k − 1 degrees.
    Checked by: tests/season/test_pacing.py::test_a_class_takes_what_is_said_of_it
    """
    known = [(p, t) for p, t in paces if p > 0 and t > 0]
    total, runs = math.fsum(pictures), len(pictures)
    if len(known) < ENOUGH or total <= 0:
        fixed_s, each_s = USUAL_S[step]
        takes_s = (fixed_s * runs + each_s * total) / workers
        return Estimate(step, runs, takes_s, takes_s / USUAL_FACTOR, takes_s * USUAL_FACTOR, 0)
    p, t = np.array(known).T
    pace_s = float(t.sum() / p.sum())
    scatter = float(np.std(t / p, ddof=1)) / pace_s
    k = len(known)
    half = float(stdtrit(k - 1, 0.975)) * scatter * math.sqrt(1 / k + 1 / runs)
    takes_s = pace_s * total / workers
    # As a factor either way: few runs that differ much leave a wide interval, but none that begins at nothing.
    return Estimate(step, runs, takes_s, takes_s / math.exp(half), takes_s * math.exp(half), k)


def tell_estimate(estimates: Sequence[Estimate], workers: int) -> str:
    """In words; nothing where nothing is to be done."""
    words: dict[Step, str] = {"answer": "verdicts", "causes": "causes after them", "remedies": "what would have won"}
    due = [one for one in estimates if one.runs]
    if not due:
        return ""
    runs, crew = max(one.runs for one in due), "1 worker" if workers == 1 else f"{workers} workers"
    head = f"{runs} run{'s' if runs != 1 else ''}, {crew}"
    if not is_long(due):
        return f"{head}: a few minutes in all."
    parts = [f"{_minutes(one)} for {words[one.step]}{_basis(one)}" for one in due]
    guessed = " What was not timed yet is told again when it has been." if any(not one.timed for one in due) else ""
    return f"{head}: {', '.join(parts)}.{guessed}"


def is_long(estimates: Sequence[Estimate]) -> bool:
    """Whether it is worth telling more than that it takes a few minutes."""
    return math.fsum(one.high_s for one in estimates) > FEW_MINUTES_S


def _basis(one: Estimate) -> str:
    return f", by {one.timed} runs timed here" if one.timed else ", as on a usual machine"


def _minutes(one: Estimate) -> str:
    low, middle, high = (seconds / 60 for seconds in (one.low_s, one.takes_s, one.high_s))
    if high < 1:
        return "less than a minute"
    return f"about {_spell(middle)} min ({_spell(low)} to {_spell(high)})"


def _spell(minutes: float) -> str:
    """Two digits, as much as such numbers hold."""
    if minutes >= 100:
        return f"{10 * round(minutes / 10)}"
    return f"{minutes:.0f}" if minutes >= 10 else f"{minutes:.1f}"
