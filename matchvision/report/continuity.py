"""Whether the clip looks uncut: what its times and its markers say; no file proves it."""

import warnings
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.motion import Motion
from matchvision.records.results import Analysis
from matchvision.report.readings import match_times

#: A step so much longer than the median is a gap, as in the footage check.
GAP_RATIO: Final = 1.6
#: Nothing on the table changes its speed faster than this for a whole picture: five times what falling does [m/s²].
ABRUPT_M_S2: Final = 50.0
#: So many markers must jump together; a single one may have been mistaken.
LEAST_MARKERS: Final = 3


@dataclass(frozen=True)
class Continuity:
    """Signs of a cut while the clock ran, match times [s].

    Attributes
    ----------
    longest_step_s, median_step_s : float
        Real time between pictures.
    gaps_s : when a step was longer than 1.6 times the median.
    jumps_s : when most markers together moved farther from one picture to the next than anything can speed up.
    greatest_m : float
        The greatest such change of the common move from one picture to the next; NaN where too few markers were seen.
    before_s, after_s : float
        How much the clip shows before the start and after the end; negative where it does not reach it.
    """

    longest_step_s: float
    median_step_s: float
    gaps_s: tuple[float, ...]
    jumps_s: tuple[float, ...]
    greatest_m: float
    before_s: float
    after_s: float

    @property
    def unbroken(self) -> bool:
        """Whether nothing speaks for a cut and the whole match is there."""
        return not self.gaps_s and not self.jumps_s and self.before_s >= 0 and self.after_s >= 0


def look_for_cuts(analysis: Analysis) -> Continuity:
    """Signs of a cut between the start and the end of the match.

    Notes
    -----
    Where markers are followed by the camera's calibration, the camera's own movement is taken off; a cut shows as a
    move that most markers make in one step and that the steps before and after it do not make.
    Checked by: tests/report/test_continuity.py::test_a_second_cut_out_shows
    """
    t_s = match_times(analysis)
    steps_s = np.diff(t_s)
    median_s = float(np.median(steps_s)) if len(steps_s) else float("nan")
    inside = (t_s[1:] > 0) & (t_s[:-1] < analysis.clock.duration_s)
    gaps = inside & (steps_s > GAP_RATIO * median_s)
    excess_m, allowed_m = _common_jumps(analysis.motion, steps_s)
    jumps = inside & (excess_m > allowed_m)
    known = excess_m[inside & np.isfinite(excess_m)]
    return Continuity(
        longest_step_s=float(steps_s[inside].max()) if inside.any() else float("nan"),
        median_step_s=median_s,
        gaps_s=tuple(float(v) for v in t_s[:-1][gaps]),
        jumps_s=tuple(float(v) for v in t_s[1:][jumps]),
        greatest_m=float(known.max()) if len(known) else float("nan"),
        before_s=float(-t_s[0]),
        after_s=float(t_s[-1] - analysis.clock.duration_s),
    )


def _common_jumps(motion: Motion, steps_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far the markers' common step differs from the calmer of its neighbours, and how far it may [m]."""
    places, seen = motion.places, motion.tracks.measured
    moves = np.hypot(np.diff(places.x_m, axis=0), np.diff(places.y_m, axis=0))
    moves[~(seen[1:] & seen[:-1])] = np.nan
    many = np.isfinite(moves).sum(axis=1) >= LEAST_MARKERS
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a picture without any marker has no median
        common = np.where(many, np.nanmedian(moves, axis=1), np.nan)
        noise_m = float(np.nanmedian(np.hypot(places.u_x_m, places.u_y_m))) if places.u_x_m.size else 0.0
    speeds = common / steps_s
    before, after = np.roll(speeds, 1), np.roll(speeds, -1)
    before[:1], after[-1:] = np.nan, np.nan
    beside = np.fmax(before, after)
    return (speeds - beside) * steps_s, ABRUPT_M_S2 * steps_s**2 + 5 * noise_m
