"""One clip, many runs: the stretches in which something moves, with quiet between them."""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.records.frames import Frame

#: Pictures so far apart are compared [s].
_APART_S: Final = 0.12
#: Luma columns and rows of which one is compared, and the change that is motion, not noise [levels].
_STEP, _MOTION_LEVELS = 4, 14
#: Share of samples that move where something moves, at least, and how much louder than quiet motion is at least.
_LEAST_RATIO, _OVER_QUIET = 1e-4, 8.0
#: Motion shorter than this is a twitch, quiet shorter than this does not end a run, a shorter run is none [s].
_TWITCH_S, _PAUSE_S, _SHORTEST_S = 0.3, 1.5, 1.0


@dataclass(frozen=True)
class Phase:
    """A stretch of motion in clip time [s]."""

    from_s: float
    until_s: float


class PhaseWatch:
    """Watches how much moves from picture to picture."""

    def __init__(self) -> None:
        self._times_s: list[float] = []
        self._activity: list[float] = []
        self._before: npt.NDArray[np.uint8] | None = None

    def see(self, frame: Frame) -> None:
        """Take the next frame; those that follow too soon after the one before are left out."""
        if self._times_s and frame.clip_s < self._times_s[-1] + _APART_S - 1e-6:
            return
        now = np.ascontiguousarray(frame.luma[::_STEP, ::_STEP])
        before = self._before
        moved = 0.0 if before is None else float(np.mean(cv2.absdiff(now, before) > _MOTION_LEVELS))
        self._times_s.append(frame.clip_s)
        self._activity.append(moved)
        self._before = now

    def phases(self) -> tuple[Phase, ...]:
        """Stretches of motion between quiet ones.

        Empty where nothing moves, and where everything does all the time: a camera held by hand.

        Notes
        -----
        Checked by: tests/footage/test_runs.py::test_runs_of_a_filmed_evening_are_found
        """
        return split_phases(np.array(self._times_s), np.array(self._activity))


def split_phases(times_s: FloatArray, activity: FloatArray) -> tuple[Phase, ...]:
    """Stretches in which the activity (share of what moves) stands out, pauses bridged and twitches left out."""
    if len(times_s) < 3:
        return ()
    quiet, loud = (max(float(q), _LEAST_RATIO) for q in np.quantile(activity, [0.1, 0.99]))
    if loud < _OVER_QUIET * quiet:
        return ()
    # Both levels span orders of magnitude, so the limit lies between them in proportion.
    at = np.flatnonzero(activity > np.sqrt(quiet * loud))
    # What differs at k moved since k - 1.
    stretches = [(float(times_s[max(0, k[0] - 1)]), float(times_s[k[-1]])) for k in _neighbours(at)]
    phases: list[Phase] = []
    for begin_s, end_s in (s for s in stretches if s[1] - s[0] >= _TWITCH_S):
        if phases and begin_s - phases[-1].until_s < _PAUSE_S:
            phases[-1] = Phase(phases[-1].from_s, end_s)
        else:
            phases.append(Phase(begin_s, end_s))
    return tuple(p for p in phases if p.until_s - p.from_s >= _SHORTEST_S)


def _neighbours(at: npt.NDArray[np.int64]) -> list[list[int]]:
    """Indices cut into runs of neighbours."""
    return [run.tolist() for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1) if len(run)]
