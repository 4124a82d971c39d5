"""How errors scatter: what is new in every frame, and what goes together over frames."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.motion.smoothing import SlowNoise

#: Time over which slow errors are told from fast ones [s].
SLOW_LAG_S = 0.1
#: Fewer values than this do not show how errors go together.
FEWEST_FOR_SCATTER = 60
#: No more of the scatter than this is taken as slow: some of every measurement is new.
MOST_SLOW_RATIO = 0.9


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of what is new in every frame, and the part that goes together over frames."""

    u_fast: float
    slow: SlowNoise


NO_SLOW_NOISE = SlowNoise(0.0, SLOW_LAG_S)


def split_scatter(errors: FloatArray, real_s: FloatArray) -> Scatter | None:
    """Fast and slow part of errors (n, k) of k like quantities; None where too few show.

    A compressed picture puts a mark off by the same tenths of a pixel for some frames. Where something moves this looks
    like a change of speed; a distance that must stay what it is shows such errors, and how long they last.

    Parameters
    ----------
    errors : (n, k) float array
        Distances from what must hold, NaN where not seen. A lasting offset of each is no scatter.

    Notes
    -----
    The autocovariances c(0), c(1 frame), c(`SLOW_LAG_S`) fit white noise on top of an Ornstein–Uhlenbeck process:
    memory = (lag − Δ)/ln(c(Δ)/c(lag)), u² = c(Δ) e^(Δ/memory), the rest of c(0) is white. Slow errors below twice the
    standard error of an autocovariance, c(0)/√n, are taken as none.
    Checked by: tests/motion/test_scatter.py::test_slow_errors_are_told_from_fast_ones
    """
    count = np.isfinite(errors).sum(axis=0)
    off = errors[:, count >= FEWEST_FOR_SCATTER]
    if off.shape[1] == 0:
        return None
    off = off - np.nanmean(off, axis=0)
    tick_s = float(np.median(np.diff(real_s)))
    lag = max(2, round(SLOW_LAG_S / tick_s))

    def together(frames: int) -> float:
        pairs = off[frames:] * off[: len(off) - frames]
        known = np.isfinite(pairs)
        return float(pairs[known].mean()) if known.any() else 0.0

    whole, next_one, later = together(0), together(1), together(lag)
    unsure = 2.0 * whole / np.sqrt(np.isfinite(off).sum())
    if next_one <= unsure:
        return Scatter(float(np.sqrt(whole)), NO_SLOW_NOISE)
    memory_s = (lag - 1) * tick_s / np.log(next_one / np.clip(later, 0.05 * next_one, 0.9 * next_one))
    slow = min(next_one * np.exp(tick_s / memory_s), MOST_SLOW_RATIO * whole)
    return Scatter(float(np.sqrt(whole - slow)), SlowNoise(float(np.sqrt(slow)), float(memory_s)))
