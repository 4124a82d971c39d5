"""What an operator gave whose plan nobody knows: any course of the throttle, a steady one rather than a wild one."""

from dataclasses import replace
from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from matchvision.arrays import FloatArray
from matchvision.mechanics.machine import MatchModel, SideDrive
from matchvision.verdict.causes.refits.altering import with_machine

#: Moments by which a course is guessed. Operators move most just after the start, so they lie closer there: evenly in
#: this root of the time. Where a lever is turned between two of them the course cannot follow: with ten in six seconds
#: the machine that is known was blamed for it.
MOMENTS, ROOT = 18, 1.5
#: Spread of the share about the guess, as a normal number of which the share is the probability: one standard deviation
#: down and up from one half is 16 % and 84 %.
SPREAD: Final = 1.0
#: No guess is nearer than this to nothing or to all there is.
LEAST_SHARE: Final = 0.05


def moments_until(until_s: float) -> tuple[float, ...]:
    """Match times [s] by which an unknown operator's course is guessed."""
    return tuple(float(t) for t in until_s * np.linspace(0.0, 1.0, MOMENTS) ** ROOT)


def operate(model: MatchModel, k: int, times_s: tuple[float, ...], z: FloatArray) -> MatchModel:
    """The match whose machine number ``k`` is given another course of its throttle.

    Parameters
    ----------
    model : the match with a guess of it, from which shares are counted.
    times_s : moments between which it changes evenly (m,).
    z : standard normal numbers (m,): 0 is the guess, large ones are all or nothing.

    Notes
    -----
    Checked by: tests/verdict/causes/refits/test_operating.py::test_shares_lie_about_the_guess_as_stated
    """

    def given(side: SideDrive | None) -> SideDrive | None:
        if side is None:
            return None
        plan = np.array(side.throttle, dtype=np.float64)
        at_s = np.union1d(plan[plan[:, 0] < times_s[-1], 0], times_s)
        guess = np.clip(np.interp(at_s, *plan.T), LEAST_SHARE, 1.0 - LEAST_SHARE)
        shares = ndtr(ndtri(guess) + SPREAD * np.interp(at_s, times_s, z))
        return replace(side, throttle=tuple((float(t), float(s)) for t, s in zip(at_s, shares, strict=True)))

    machine = model.machines[k]
    return with_machine(model, k, left=given(machine.left), right=given(machine.right))
