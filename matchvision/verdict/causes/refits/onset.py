"""When a run left what the plain match can give: where to look first for what changed it."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.verdict.causes.refits.erring import Loosened
from matchvision.verdict.causes.refits.refitting import RunFitter
from matchvision.verdict.causes.refits.sharing import at_each

#: What is left of each quantity after a change that nothing is known about, as a share of its size.
AFTERWARDS: Final = 0.5
#: Sizes of the model's own error before it: linear steps from the stated numbers are no refit.
BEFOREHAND: Final = (0.02, 0.04, 0.08)


def onset_s(fitter: RunFitter, computed: Sequence[FloatArray], slopes: Sequence[FloatArray]) -> float:
    """The likeliest moment (match time, s) until which the plain match holds and after which anything may be.

    Parameters
    ----------
    fitter : the measured run.
    computed, slopes : the plain match at the stated numbers, and its slopes by them.

    Notes
    -----
    Each moment's evidence has the stated numbers integrated out along the slopes, the error after it so wide that
    nothing there counts. No match is computed for it.
    Checked by: tests/derived/test_settling.py::test_onset_is_where_a_series_leaves_the_line
    """
    observed = fitter.observed
    step_s = observed.step_s
    dates = observed.t_s[:-1] + step_s / 2
    zero = np.zeros(slopes[0].shape[1])
    chances = (1.0 / len(BEFOREHAND),) * len(BEFOREHAND)

    def log_of(date_s: float) -> float:
        until = RunFitter(observed, Loosened(date_s, np.inf, AFTERWARDS), shares=BEFOREHAND, apart=True)
        return until.sum_up(zero, computed, slopes, shares=BEFOREHAND, chances=chances).log_evidence

    logs = at_each(log_of, [float(date_s) for date_s in dates])
    return float(dates[int(np.argmax(logs))])
