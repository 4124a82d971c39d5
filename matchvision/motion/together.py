"""A machine's travel and how far a wheel's surface has run ahead of the ground, smoothed as one."""

from dataclasses import dataclass

import numpy as np

from matchvision.arrays import BoolArray, FloatArray
from matchvision.motion.drawing import draw_courses
from matchvision.motion.filtering import run_channels, run_smoother, step_matrices
from matchvision.motion.smoothing import RELAX_S, SlowNoise, Smoothed

#: States: travel and its rate and acceleration, lead and the same of it; behind them the slow errors of each channel.
MOVED = 6
#: Where a channel starts: the body's markers with the travel, the rim marks with the lead on top.
ENTRY = np.array([0, 3], dtype=np.int64)
#: Courses of the lead's speed that are drawn, by pairs: a chance of a half is known to some 0.05 so.
PAIRS = 50
#: They are drawn where that speed may exceed a limit by so many standard uncertainties, and for so long about it [s].
MAY_EXCEED = 4.0
ABOUT_S = 0.1


@dataclass(frozen=True, eq=False)
class Together:
    """Both, (n,) arrays; NaN where the lead is not known.

    Attributes
    ----------
    surface_m, u_surface_m : way that the wheel's surface has made, travel and lead together
    surface_m_s, u_surface_m_s : its speed
    ahead_m_s, u_ahead_m_s : speed of the lead, which is the slip speed
    drawn_m_s : (m, n) float array
        Courses of that speed which the places allow equally well; NaN where it is surely below the limit asked for.
    """

    surface_m: FloatArray
    u_surface_m: FloatArray
    surface_m_s: FloatArray
    u_surface_m_s: FloatArray
    ahead_m_s: FloatArray
    u_ahead_m_s: FloatArray
    drawn_m_s: FloatArray


@dataclass(frozen=True, eq=False)
class Lasting:
    """Errors of the surface's way that stay what they are over a clip, k of them, unknown but for their size.

    Attributes
    ----------
    seen_m : (n, k) float array
        What one unit of each adds to the way as seen.
    ahead_m, ahead_m_s : (n, k) float arrays
        What one unit adds to the true lead and to its speed; 0 for what is only seen.
    u : (k,) float array
        How large each may be.
    """

    seen_m: FloatArray
    ahead_m: FloatArray
    ahead_m_s: FloatArray
    u: FloatArray


def smooth_together(
    real_s: FloatArray,
    travel: tuple[FloatArray, FloatArray],
    surface: tuple[FloatArray, FloatArray],
    along: Smoothed,
    ahead: Smoothed,
    slow: tuple[SlowNoise, SlowNoise],
    decided: BoolArray,
    lasting: Lasting | None = None,
    limit_m_s: float = np.inf,
) -> Together:
    """A machine's travel and its wheel's lead from the places of both, by one smoother.

    While the wheel grips the lead hardly changes, and then the body's markers tell the wheel's rate, and the rim marks
    the machine's speed. While it slips the two go their own ways, and each is told by its own markers. How much each
    changes at each time is what the smoothing of the travel and of the lead alone have found.

    Parameters
    ----------
    travel, surface : pairs of (n,) float arrays
        Travel of the machine and way of the wheel's surface [m], as seen frame by frame, with what is new in each.
    along, ahead : Smoothed
        Travel and lead, each smoothed alone.
    slow : pair of SlowNoise
        Slow errors of the body's and of the rim marks' places [m].
    decided : (n,) bool array
        False where the surface's way cannot be told; nothing is said there.
    lasting : Lasting, optional
        What of the surface's way may be wrong in the same way throughout.
    limit_m_s : float
        Courses of the lead's speed are drawn where it may exceed this, either way.

    Notes
    -----
    Two channels in a Kalman filter and a Rauch–Tung–Striebel smoother: travel is seen as travel + its slow error, the
    surface as travel + lead + its slow error + what lasts, whose size is a state that nothing drives (regression in
    state space form: J. Durbin, S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed. (2012), 3.6.1).
    Checked by: tests/motion/test_together.py::test_both_are_surer_than_each_alone,
    tests/derived/test_lasting_errors.py::test_what_lasts_is_as_sure_as_a_fitted_line_says
    """
    n = len(real_s)
    known = np.isfinite(ahead.value) & decided
    if not known.any() or not np.isfinite(along.drive).all():
        nothing = np.full(n, np.nan)
        return Together(nothing, nothing, nothing, nothing, nothing, nothing, np.zeros((0, n)))
    steps_s = np.diff(real_s)
    tick = float(np.median(steps_s))
    factors = (along.noise_factor, ahead.noise_factor)
    slow_u = [noise.u * factor for noise, factor in zip(slow, factors, strict=True)]
    nothing = np.zeros((n, 0))
    lasts = Lasting(nothing, nothing, nothing, np.zeros(0)) if lasting is None else lasting
    # A state without any variance has no inverse.
    slowly = [channel for channel in (0, 1) if slow_u[channel] > 0]
    shared = slice(MOVED + len(slowly), MOVED + len(slowly) + len(lasts.u))
    states = shared.stop
    transition, drive = np.zeros((n - 1, states, states)), np.zeros((n - 1, states, states))
    for first, series in ((0, along), (3, ahead)):
        block = slice(first, first + 3)
        moved, unit_drive = step_matrices(steps_s / tick, 3, RELAX_S / tick)
        transition[:, block, block] = moved
        drive[:, block, block] = unit_drive * (series.drive * tick**5)[:, None, None]
    look = np.zeros((n, 2, states))
    look[:, :, 0] = look[:, 1, 3] = 1.0
    start = np.zeros(states)
    for k, channel in enumerate(slowly, start=MOVED):
        keep = np.exp(-steps_s / slow[channel].memory_s)
        transition[:, k, k], drive[:, k, k] = keep, slow_u[channel] ** 2 * (1 - keep**2)
        share = slow[channel].share
        look[:, channel, k], start[k] = 1.0 if share is None else share, slow_u[channel] ** 2
    # What lasts is a state that nothing drives.
    transition[:, range(shared.start, states), range(shared.start, states)] = 1.0
    look[:, 1, shared], start[shared] = lasts.seen_m * lasts.u, 1.0
    y, u = np.stack([travel[0], surface[0]], axis=1), np.stack([travel[1], surface[1]], axis=1)
    y[~along.kept, 0], y[~ahead.kept, 1] = np.nan, np.nan
    y[~np.isfinite(u)] = np.nan
    r = np.where(np.isfinite(u), u * factors, 1.0) ** 2
    for column, first in enumerate(ENTRY):
        values = y[np.isfinite(y[:, column]), column]
        # Wide enough to say nothing: the largest step bounds the rate per tick.
        wide = 30 * np.sqrt(np.median(r[:, column])) + 3 * np.max(np.abs(np.diff(values)), initial=0.0)
        start[first : first + 3] = wide**2
    predicted, predicted_p, updated, updated_p, _, _ = run_channels(y, r, look, ENTRY, transition, drive, start)
    x, p = run_smoother(predicted, predicted_p, updated, updated_p, transition)
    leads = np.zeros((n, states))
    leads[:, 4], leads[:, shared] = 1.0 / tick, lasts.ahead_m_s * lasts.u
    speeds = leads.copy()
    speeds[:, 1] = 1.0 / tick
    ways = np.zeros((n, states))
    ways[:, 0] = ways[:, 3] = 1.0
    ways[:, shared] = lasts.ahead_m * lasts.u

    def part(of: FloatArray) -> tuple[FloatArray, FloatArray]:
        value = np.einsum("ni,ni->n", of, x)
        u_value = np.sqrt(np.einsum("ni,nij,nj->n", of, p, of))
        return np.where(known, value, np.nan), np.where(known, u_value, np.nan)

    lead_m_s, u_lead_m_s = part(leads)
    drawn = np.full((2 * PAIRS, n), np.nan)
    generator = np.random.default_rng(0)
    for first, last in _stretches(np.abs(lead_m_s) + MAY_EXCEED * u_lead_m_s > limit_m_s, real_s):
        here = slice(first, last + 1)
        filtered = predicted[here], predicted_p[here], updated[here], updated_p[here]
        drawn[:, here] = draw_courses(
            filtered, transition[first:last], (x[last], p[last]), leads[here], PAIRS, generator
        )
    drawn[:, ~known] = np.nan
    return Together(*part(ways), *part(speeds), lead_m_s, u_lead_m_s, drawn)


def _stretches(holds: BoolArray, real_s: FloatArray) -> list[tuple[int, int]]:
    """First and last frames of stretches in which something holds, `ABOUT_S` longer at either end."""
    at = np.flatnonzero(holds)
    near = np.zeros(len(holds) + 1)
    np.add.at(near, np.searchsorted(real_s, real_s[at] - ABOUT_S), 1)
    np.add.at(near, np.searchsorted(real_s, real_s[at] + ABOUT_S, side="right"), -1)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], np.cumsum(near[:-1]) > 0, [False]]).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
