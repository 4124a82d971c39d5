"""A fixed-interval state smoother on irregular times: value, rate and acceleration with their covariance.

The state is the value and its first derivatives; white noise drives the highest one. How strong that noise is comes
from the data, and may change with time: a wheel that lets go jumps, a machine that pulls does not.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import minimize_scalar

from matchvision.arrays import FloatArray
from matchvision.motion.filtering import add_slow_noise, run_filter, run_smoother, step_matrices
from matchvision.motion.scoring import Scored, pack_series, score_levels, sum_levels

#: Time in which an acceleration forgets itself [s]. Contact changes a machine's force within a frame or two; a longer
#: memory draws smoother curves whose uncertainty does not hold while wheels chatter.
RELAX_S = 0.025
#: Longest gap without data that is bridged [s].
LONGEST_GAP_S = 0.3
#: Half width of the window in which the driving noise may take a level of its own [s].
LOCAL_WINDOW_S = 0.06
#: Local levels of the driving noise that are tried, in decades about the clip's. One jump sets the level of a short
#: clip, and what is quiet beside it is far below.
LOCAL_DECADES = np.arange(-2.5, 4.25, 0.5)
#: How many decades the local level of the driving noise may stray from the clip's (standard deviation).
LOCAL_SPREAD_DECADES = 1.5
#: The data may scatter this much less than stated, and that much more. Less is mistrusted: errors that neighbouring
#: frames share look small from frame to frame, and add up where a rate is sought.
LEAST_NOISE_FACTOR = 0.7
LARGEST_NOISE_FACTOR = 10.0
#: Below this many values the stated noise of the data is taken as it is.
FEWEST_FOR_NOISE_FACTOR = 40


@dataclass(frozen=True, eq=False)
class Smoothed:
    """A smoothed series, (n,) arrays; NaN outside the data and in gaps too long to bridge.

    Attributes
    ----------
    value, rate, accel : float arrays
        Per second and per second squared; NaN where the model has no such state.
    covariance : (n, 3, 3) float array
        Of (value, rate, accel).
    noise_factor : float
        By how much the data scatter more than stated.
    drive : (n − 1,) float array
        Spectral density of the driving noise in each step.
    kept : (n,) bool array
        False for values that were missing or put aside as wild.
    """

    value: FloatArray
    rate: FloatArray
    accel: FloatArray
    covariance: FloatArray
    noise_factor: float
    drive: FloatArray
    kept: npt.NDArray[np.bool_]

    @property
    def u_value(self) -> FloatArray:
        """Standard uncertainty of the value."""
        return np.asarray(np.sqrt(self.covariance[:, 0, 0]))

    @property
    def u_rate(self) -> FloatArray:
        """Standard uncertainty of the rate."""
        return np.asarray(np.sqrt(self.covariance[:, 1, 1]))

    @property
    def u_accel(self) -> FloatArray:
        """Standard uncertainty of the acceleration."""
        return np.asarray(np.sqrt(self.covariance[:, 2, 2]))


@dataclass(frozen=True)
class SlowNoise:
    """Noise that goes together over frames: its standard deviation and the time in which it forgets itself [s].

    ``share`` (n,) says how large it is in each frame against ``u``; without it, as large throughout.
    """

    u: float
    memory_s: float
    share: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class _Series:
    """Data on their own clock: the typical step is 1, so that the states are of one size."""

    y: FloatArray
    r: FloatArray
    look: FloatArray
    transition: FloatArray
    drive: FloatArray
    fixed: FloatArray
    start: FloatArray

    def run(self, q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        return run_filter(self.y, self.r, q, self.transition, self.drive, self.start, self.look, self.fixed)

    def packed(self, order: int) -> Scored:
        """The same for the search for levels; ``order`` states beside slow noise."""
        return pack_series(self.y, self.r, self.look, self.transition, self.drive, self.fixed, self.start, order)

    def noisier(self, factor: float) -> "_Series":
        """The same data with more noise."""
        return replace(self, r=self.r * factor, fixed=self.fixed * factor)


def _fit_levels(
    series: Scored, shape: FloatArray, skip: int, least_factor: float, *, free_noise: bool
) -> tuple[float, float]:
    """Level of the driving noise and squared factor of the data's, by maximum likelihood.

    With both scaled by one factor the likelihood's maximum over it is closed, so one search over their ratio is enough.
    """
    used = np.isfinite(series.y)
    count = max(1, int(used.sum()) - skip)

    def both(log_ratios: FloatArray) -> tuple[FloatArray, FloatArray]:
        squares, logs = sum_levels(series, np.exp(log_ratios), shape, skip)
        common = squares / count if free_noise else np.ones(len(squares))
        common = np.clip(common, least_factor**2, LARGEST_NOISE_FACTOR**2)
        return 0.5 * (logs + count * np.log(common) + squares / common), common

    typical = np.log(float(np.median(series.r[used])))
    grid = typical + np.linspace(-32.0, 6.0, 20)
    best = int(np.argmin(both(grid)[0]))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    found = minimize_scalar(
        lambda at: float(both(np.array([at]))[0][0]), bounds=(low, high), method="bounded", options={"xatol": 0.05}
    )
    common = float(both(np.array([found.x]))[1][0])
    return float(np.exp(found.x)) * common, common


def _local_shape(series: Scored, q: float, window: float, skip: int) -> FloatArray:
    """Local levels of the driving noise over the common one, (n − 1,).

    A grid of levels is scored by how well each predicts the values in a window about each time, forwards and backwards;
    the clip's level is the prior; the mean of the log level under the resulting weights is taken.
    """
    decades = LOCAL_DECADES
    levels = q * 10.0**decades
    scores = 0.5 * (score_levels(series, levels, skip) + score_levels(series.reversed(), levels, skip)[:, ::-1])
    # A Gaussian window of unit peak adds up what about √(2π) window values say.
    local = gaussian_filter1d(scores, window, axis=1, mode="nearest") * np.sqrt(2 * np.pi) * window
    local = local - 0.5 * (decades[:, None] / LOCAL_SPREAD_DECADES) ** 2
    weight = np.exp(local - local.max(axis=0))
    mean = (weight * decades[:, None]).sum(axis=0) / weight.sum(axis=0)
    return np.asarray(10.0 ** (0.5 * (mean[1:] + mean[:-1])))


def _wild(series: _Series, q: FloatArray) -> npt.NDArray[np.bool_]:
    """Single values that their neighbours on both sides contradict by more than six standard deviations."""
    predicted, predicted_p, updated, updated_p, _, _ = series.run(q)
    x, p = run_smoother(predicted, predicted_p, updated, updated_p, series.transition)
    shown = np.einsum("ni,nij,nj->n", series.look, p, series.look)
    share = np.clip(shown / series.r, 0.0, 0.999)
    apart = np.abs(series.y - np.einsum("ni,ni->n", series.look, x)) / np.sqrt(series.r * (1 - share))
    return np.asarray(np.nan_to_num(apart) > 6.0)


def smooth_series(
    t_s: FloatArray,
    value: FloatArray,
    u_value: FloatArray,
    *,
    order: int = 3,
    relax_s: float = RELAX_S,
    drive: float | None = None,
    slow: SlowNoise | None = None,
    adaptive: bool = True,
    longest_gap_s: float = LONGEST_GAP_S,
    least_noise_factor: float = LEAST_NOISE_FACTOR,
) -> Smoothed:
    """Smooth a series on its own, irregular times; its rate and acceleration come with it.

    Parameters
    ----------
    t_s : (n,) float array
        Real times [s], growing.
    value, u_value : (n,) float arrays
        Data and their standard uncertainty; NaN where there are none.
    order : 1, 2 or 3
        Number of states: value; and rate; and acceleration. White noise drives the last.
    drive : float, optional
        Spectral density of the driving noise; without it, it is estimated together with a factor on ``u_value``.
    slow : SlowNoise, optional
        Noise of the data on top of ``u_value`` that goes together from frame to frame.
    adaptive : bool
        Whether the driving noise may change with time.
    longest_gap_s : float
        Longer gaps stay NaN.
    least_noise_factor : float
        The data scatter at least this much of what is stated: 1 where that was measured.

    Returns
    -------
    Smoothed
        All NaN where there are fewer than ``order`` + 2 values.

    Notes
    -----
    Kalman filter forwards, Rauch–Tung–Striebel backwards: H. E. Rauch, F. Tung, C. T. Striebel, "Maximum likelihood
    estimates of linear dynamic systems", AIAA Journal 3 (1965) 1445. Noise levels by the prediction-error likelihood:
    J. Durbin, S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), 7.2.
    Checked by: tests/published/test_state_smoother.py::test_nile_level
    """
    t_s = np.asarray(t_s, dtype=np.float64)
    value = np.array(value, dtype=np.float64)
    u_value = np.asarray(u_value, dtype=np.float64)
    known = np.isfinite(value) & np.isfinite(u_value) & (u_value > 0)
    n = len(t_s)
    if known.sum() < order + 2:
        nothing = np.full(n, np.nan)
        return Smoothed(
            nothing, nothing, nothing, np.full((n, 3, 3), np.nan), np.nan, np.full(max(n - 1, 0), np.nan), known
        )
    tick = float(np.median(np.diff(t_s)))
    value[~known] = np.nan
    middle = float(np.nanmedian(value))
    r = np.where(known, u_value, 1.0) ** 2
    transition, unit_drive = step_matrices(np.diff(t_s) / tick, order, relax_s / tick if order == 3 else np.inf)
    # Wide enough to say nothing, narrow enough for the arithmetic: the largest step bounds the rate per tick.
    noise = float(np.median(u_value[known]))
    largest = float(np.max(np.abs(np.diff(value[known]))))
    start = (30 * noise + 3 * largest) ** 2 * np.ones(order)
    look, transition, unit_drive, fixed, start = add_slow_noise(
        transition, unit_drive, start, np.diff(t_s), slow.u if slow else 0.0, slow.memory_s if slow else 1.0
    )
    looks = np.tile(look, (n, 1))
    if slow is not None and slow.u > 0 and slow.share is not None:
        looks[:, order] = slow.share
    series = _Series(value - middle, r, looks, transition, unit_drive, fixed, start)
    skip = order
    scale = tick ** (2 * order - 1)
    shape = np.ones(n - 1)
    factor = 1.0
    if drive is None:
        free = int(known.sum()) >= FEWEST_FOR_NOISE_FACTOR
        scored = series.packed(order)
        q, factor = _fit_levels(scored, shape, skip, least_noise_factor, free_noise=free)
        if adaptive:
            window = max(2.0, LOCAL_WINDOW_S / tick)
            for _ in range(2):
                shape = _local_shape(scored.noisier(factor), q, window, skip)
                wild = _wild(series.noisier(factor), q * shape)
                alone = wild & ~np.roll(wild, 1) & ~np.roll(wild, -1)
                series = replace(series, y=np.where(alone, np.nan, series.y))
                scored = replace(scored, y=series.y)
                known = known & ~alone
                level, factor = _fit_levels(scored, shape, skip, least_noise_factor, free_noise=free)
                shape, q = shape * level / q, q
        levels = q * shape
    else:
        levels = np.full(n - 1, drive * scale)
    predicted, predicted_p, updated, updated_p, _, _ = series.noisier(factor).run(levels)
    x, p = run_smoother(predicted, predicted_p, updated, updated_p, transition)
    bridged = _bridged(t_s, known, longest_gap_s)
    states = np.full((n, 3), np.nan)
    covariance = np.full((n, 3, 3), np.nan)
    per_second = tick ** -np.arange(order, dtype=np.float64)
    x, p = x[:, :order], p[:, :order, :order]
    states[:, :order] = np.where(bridged[:, None], x * per_second, np.nan)
    covariance[:, :order, :order] = np.where(bridged[:, None, None], p * np.outer(per_second, per_second), np.nan)
    return Smoothed(
        states[:, 0] + middle, states[:, 1], states[:, 2], covariance, float(np.sqrt(factor)), levels / scale, known
    )


def _bridged(t_s: FloatArray, known: npt.NDArray[np.bool_], longest_gap_s: float) -> npt.NDArray[np.bool_]:
    """Where the data carry the series: at data, and between two that are not further apart than the longest gap."""
    times = t_s[known]
    after = np.searchsorted(times, t_s, side="left")
    inside = (after > 0) & (after < len(times))
    gap = np.where(inside, times[np.clip(after, 0, len(times) - 1)] - times[np.clip(after - 1, 0, None)], np.inf)
    return np.asarray(known | (inside & (gap <= longest_gap_s)))
