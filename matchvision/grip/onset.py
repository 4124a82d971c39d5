"""When something that stood began to move: from its unsmoothed course, whatever law its first millimetres follow."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.grip.intervals import typical_step_s
from matchvision.records.motion import MachineMotion, Motion

FloatArray = npt.NDArray[np.float64]

#: What gathers speed does so within this time before the bend that it makes.
GATHERS_S: Final = 0.3
#: Its first way out is as long as this: a coder shows the first tenths of a millimetre late, so they do not decide.
EARLY_M: Final = 0.005
#: A coder leaves what stood as it was until it has moved by about so much [px].
UNSEEN_PX: Final = 0.2
#: Fewer places than this tell no law.
LEAST_PLACES: Final = 8


def base_course(motion: Motion, moved: MachineMotion) -> FloatArray:
    """A machine's place along x frame by frame (n,), not smoothed: the mean of its seen markers, each from its median.

    Raw places, since a test for small motions must know the noise from frame to frame.
    """
    columns = [
        k
        for k, p in enumerate(motion.tracks.plans)
        if p.kind == "body" and p.machine == moved.machine and not p.on_reach
    ]
    apart = motion.places.x_m[:, columns] - moved.x_m[:, None]
    shown = np.isfinite(apart).any(axis=0)
    if not shown.any():
        return np.asarray(moved.x_m, dtype=np.float64)
    # A marker that is missing for a while must not shift the mean.
    away = motion.places.x_m[:, columns][:, shown] - np.nanmedian(apart[:, shown], axis=0)
    known = np.isfinite(away)
    return np.where(
        known.any(axis=1), np.where(known, away, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1), np.nan
    )


def date_start(
    t_s: FloatArray, course: FloatArray, sigma: float, level_m_s: float, about_s: float, unseen_m: float = 0.0
) -> tuple[float, float] | None:
    """When a course passed a speed on its way out of rest [s], with standard uncertainty; None with too few places.

    Parameters
    ----------
    t_s, course : (n,) float arrays without NaN
    sigma : noise of one place [m]
    level_m_s : the speed
    about_s : a moment about then, no earlier than 0.3 s before the true one.
    unseen_m : what it may move before pictures show it, `unseen_way`.

    Notes
    -----
    A smoothed speed spreads a leap over its smoother's window, and a bend is where two straight pieces meet, which what
    gathers speed passes late. So rest + c (t − τ)ᵖ is fitted for p = 1, 2 and 3 and every τ, up to a few millimetres
    away; each fit says when the speed was passed, and counts by its likelihood.
    Checked by: tests/grip/test_onset.py::test_leap_and_slow_start_are_dated
    """
    if len(t_s) < LEAST_PLACES:
        return None
    resting = t_s < about_s - GATHERS_S
    rest = float(np.median(course[resting])) if resting.any() else float(course[0])
    begin = max(0, int(np.searchsorted(t_s, about_s - 2 * GATHERS_S)))
    far = np.flatnonzero((np.abs(course - rest) > EARLY_M) & (t_s > about_s))
    last = int(far[0]) + 2 if len(far) else len(t_s)
    part = slice(begin, max(last, begin + LEAST_PLACES))
    t, y = t_s[part], course[part] - rest
    if len(t) < LEAST_PLACES:
        return None
    step_s = typical_step_s(t)
    dates, costs = [], []
    for power in (1, 2, 3):
        for start in np.arange(t[2], t[-3], step_s / 2):
            design = np.column_stack([np.ones_like(t), np.maximum(t - start, 0.0) ** power])
            solution, *_ = np.linalg.lstsq(design, y, rcond=None)
            size = max(abs(float(solution[1])), 1e-9)
            # A straight way slower than the speed asked for passes it later, if at all.
            leaps = 0.0 if size >= level_m_s else np.inf
            after = leaps if power == 1 else (level_m_s / (power * size)) ** (1 / (power - 1))
            dates.append(min(start + after, float(t[-1])))
            costs.append(float(((y - design @ solution) ** 2).sum()))
    if not dates:
        return None
    # What no law fits is the laws' fault, not the noise's.
    spread = max(sigma**2, min(costs) / max(len(t) - 3, 1), 1e-12)
    weight = np.exp(-0.5 * (np.array(costs) - min(costs)) / spread)
    at_s = float(np.average(dates, weights=weight))
    spread_s = float(np.sqrt(np.average((np.array(dates) - at_s) ** 2, weights=weight)))
    # The way not seen took this long if it gathered speed evenly; the laws' fit takes some of that back.
    late_s = max(float(t[-1]) - at_s, 0.0) * np.sqrt(unseen_m / EARLY_M)
    return at_s, float(np.sqrt(spread_s**2 + step_s**2 / 3 + late_s**2 / 12))


def unseen_way(motion: Motion) -> float:
    """How far a thing may move [m] before a coder shows it: `UNSEEN_PX` at the pictures' own scale; 0 if unknown."""
    tracks, places = motion.tracks, motion.places
    seen = np.isfinite(places.x_m) & np.isfinite(tracks.col_px)
    if places.x_m.shape[1] < 2:
        return 0.0
    every = np.flatnonzero(seen.sum(axis=1) >= 2)
    if len(every) == 0:
        return 0.0
    row = int(every[len(every) // 2])
    at = np.flatnonzero(seen[row])
    ends = at[[int(np.argmin(tracks.col_px[row, at])), int(np.argmax(tracks.col_px[row, at]))]]
    apart_px = float(np.hypot(*(np.diff(v[row, ends])[0] for v in (tracks.col_px, tracks.row_px))))
    apart_m = float(np.hypot(*(np.diff(v[row, ends])[0] for v in (places.x_m, places.y_m))))
    return UNSEEN_PX * apart_m / apart_px if apart_px > 1 else 0.0
