"""A machine's travel and how far a wheel's surface has run ahead of the ground, smoothed as one."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.motion.filtering import run_channels, run_smoother, step_matrices
from matchvision.motion.smoothing import RELAX_S, SlowNoise, Smoothed

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

#: States: travel and its rate and acceleration, distance run ahead and the same of it, slow error of the rim marks.
STATES = 7
#: What the two channels show: the body's markers the travel, the rim marks travel and lead with their slow error.
LOOK = np.array([[1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, 1.0, 0.0, 0.0, 1.0]])
ENTRY = np.array([0, 3], dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Together:
    """Both, (n,) arrays; NaN where the lead is not known.

    Attributes
    ----------
    surface_m, u_surface_m : way that the wheel's surface has made, travel and lead together
    surface_m_s, u_surface_m_s : its speed
    ahead_m_s, u_ahead_m_s : speed of the lead, which is the slip speed
    """

    surface_m: FloatArray
    u_surface_m: FloatArray
    surface_m_s: FloatArray
    u_surface_m_s: FloatArray
    ahead_m_s: FloatArray
    u_ahead_m_s: FloatArray


def smooth_together(
    real_s: FloatArray,
    travel: tuple[FloatArray, FloatArray],
    surface: tuple[FloatArray, FloatArray],
    along: Smoothed,
    ahead: Smoothed,
    slow: SlowNoise,
    decided: BoolArray,
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
    slow : SlowNoise
        Slow errors of the wheel's surface [m].
    decided : (n,) bool array
        False where the surface's way cannot be told; nothing is said there.

    Notes
    -----
    Two channels in a Kalman filter and a Rauch–Tung–Striebel smoother: travel is seen as it is, the surface as travel +
    lead + slow error.
    Checked by: tests/motion/test_together.py::test_both_are_surer_than_each_alone
    """
    n = len(real_s)
    known = np.isfinite(ahead.value) & decided
    if not known.any() or not np.isfinite(along.drive).all():
        return Together(*(np.full(n, np.nan) for _ in range(6)))
    steps_s = np.diff(real_s)
    tick = float(np.median(steps_s))
    moved, unit_drive = step_matrices(steps_s / tick, 3, RELAX_S / tick)
    keep = np.exp(-steps_s / slow.memory_s)
    transition, drive = np.zeros((n - 1, STATES, STATES)), np.zeros((n - 1, STATES, STATES))
    for first, series in ((0, along), (3, ahead)):
        block = slice(first, first + 3)
        transition[:, block, block] = moved
        drive[:, block, block] = unit_drive * (series.drive * tick**5)[:, None, None]
    transition[:, 6, 6], drive[:, 6, 6] = keep, (slow.u * ahead.noise_factor) ** 2 * (1 - keep**2)
    y, u = np.stack([travel[0], surface[0]], axis=1), np.stack([travel[1], surface[1]], axis=1)
    y[~along.kept, 0], y[~ahead.kept, 1] = np.nan, np.nan
    y[~np.isfinite(u)] = np.nan
    r = np.where(np.isfinite(u), u * [along.noise_factor, ahead.noise_factor], 1.0) ** 2
    start = np.zeros(STATES)
    for column, first in enumerate(ENTRY):
        values = y[np.isfinite(y[:, column]), column]
        # Wide enough to say nothing: the largest step bounds the rate per tick.
        wide = 30 * np.sqrt(np.median(r[:, column])) + 3 * np.max(np.abs(np.diff(values)), initial=0.0)
        start[first : first + 3] = wide**2
    start[6] = (slow.u * ahead.noise_factor) ** 2
    predicted, predicted_p, updated, updated_p, _, _ = run_channels(y, r, LOOK, ENTRY, transition, drive, start)
    if slow.u <= 0:
        # A state without any variance has no inverse.
        kept = np.arange(6)
        predicted, updated = predicted[:, kept], updated[:, kept]
        predicted_p, updated_p = (p[:, kept][:, :, kept].copy() for p in (predicted_p, updated_p))
        transition = transition[:, :6, :6].copy()
    x, p = run_smoother(predicted, predicted_p, updated, updated_p, transition)
    whole = np.array([1.0, 0.0, 0.0, 1.0, 0.0, 0.0])

    def part(look: FloatArray, per: float) -> tuple[FloatArray, FloatArray]:
        value = x[:, :6] @ look / per
        u_value = np.sqrt(np.einsum("i,nij,j->n", look, p[:, :6, :6], look)) / per
        return np.where(known, value, np.nan), np.where(known, u_value, np.nan)

    way, speed, lead = part(whole, 1.0), part(np.roll(whole, 1), tick), part(np.eye(6)[4], tick)
    return Together(*way, *speed, *lead)
