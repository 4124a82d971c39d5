"""The picture rate as it is, from the container's times alone."""

import numpy as np
import numpy.typing as npt

from matchvision.footage.checking import DROPPED_STEP_RATIO
from matchvision.footage.timing import scan_times
from matchvision.records.footage import PictureSteps
from matchvision.records.frames import ClipFacts


def measure_steps(
    facts: ClipFacts, from_s: float | None = None, until_s: float | None = None
) -> tuple[PictureSteps, npt.NDArray[np.float64]]:
    """Steps between the pictures of a clip or a part of it, and their clip times [s]; nothing is decoded.

    Notes
    -----
    Checked by: tests/footage/test_looking.py::test_steps_and_gaps_are_counted
    """
    shown_s = scan_times(facts.path).shown_s
    clip_s = shown_s - shown_s[0]
    clip_s = clip_s[(clip_s >= (from_s or 0.0) - 1e-6) & (clip_s <= (until_s or np.inf) + 1e-6)]
    steps_s = np.diff(clip_s)
    if not len(steps_s):
        return PictureSteps(len(clip_s), float("nan"), float("nan"), float("nan"), 0, 0), clip_s
    median_s, worst = float(np.median(steps_s)), int(np.argmax(steps_s))
    long = steps_s[steps_s > DROPPED_STEP_RATIO * median_s]
    return PictureSteps(
        pictures=len(clip_s),
        median_s=median_s,
        longest_s=float(steps_s[worst]),
        longest_at_s=float(clip_s[worst]),
        missing=int(np.sum(np.rint(long / median_s) - 1)),
        gaps=len(long),
    ), clip_s
